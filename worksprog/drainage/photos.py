"""Photos from site: made small, turned upright, and stripped of where and by what they were taken."""

from __future__ import annotations

import io
import warnings
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from PIL import Image, ImageOps, UnidentifiedImageError

MOST_BYTES = 15 * 1024 * 1024
MOST_PIXELS = 80_000_000
LONGEST_SIDE = 1600
KINDS = ("JPEG", "PNG", "WEBP")


def clean_photo(upload: UploadedFile[Any], *, name: str) -> ContentFile[bytes]:
    """A JPEG of at most 1600 px a side without any of the file's own facts, its place among them.

    ValidationError for what is too large, no picture, or a damaged one.
    """
    size = upload.size or 0
    if size > MOST_BYTES:
        raise ValidationError(
            {
                "photo": f"The photo has {size / 1_048_576:.0f} MB; the most that is taken is "
                f"{MOST_BYTES // 1_048_576} MB. Take it at a smaller size."
            }
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(upload, formats=KINDS) as picture:
                if picture.width * picture.height > MOST_PIXELS:
                    raise ValidationError(
                        {"photo": f"The photo has {picture.width} × {picture.height} points; "
                         "that is more than any phone takes."}
                    )  # fmt: skip
                upright = ImageOps.exif_transpose(picture).convert("RGB")
    except UnidentifiedImageError as error:
        raise ValidationError(
            {"photo": "This file is no photo that can be read; expected JPEG, PNG or WebP."}
        ) from error
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError,
            Image.DecompressionBombWarning) as error:  # fmt: skip
        raise ValidationError(
            {"photo": "The photo is damaged or cut short and cannot be read."}
        ) from error
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    # A fresh picture carries nothing over from the file: no place, no phone, no time.
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    written = io.BytesIO()
    bare.save(written, "JPEG", quality=82, optimize=True)
    return ContentFile(written.getvalue(), name=f"{name}.jpg")
