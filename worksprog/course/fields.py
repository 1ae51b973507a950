"""A model field that keeps a shapely geometry as WKB, in the club's own grid in metres."""

from __future__ import annotations

from typing import Any

import shapely
from django.core.exceptions import ValidationError
from django.db import models
from shapely.geometry.base import BaseGeometry


class GeometryField(models.BinaryField):  # type: ignore[type-arg]
    """Stores two-dimensional WKB; hands out and takes shapely geometries."""

    description = "geometry in the club's grid (metres)"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("editable", True)
        super().__init__(*args, **kwargs)

    def get_default(self) -> Any:
        # A binary field's own default is empty bytes, which are no shape.
        return super().get_default() or None

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> BaseGeometry | None:
        return None if value is None else shapely.from_wkb(bytes(value))

    def to_python(self, value: Any) -> Any:
        if value is None or isinstance(value, BaseGeometry):
            return value
        return shapely.from_wkb(bytes(value))

    def get_db_prep_value(self, value: Any, connection: Any, prepared: bool = False) -> Any:
        if isinstance(value, BaseGeometry):
            value = shapely.to_wkb(value, output_dimension=2)
        return super().get_db_prep_value(value, connection, prepared)

    def get_prep_value(self, value: Any) -> Any:
        if isinstance(value, BaseGeometry):
            return shapely.to_wkb(value, output_dimension=2)
        return super().get_prep_value(value)

    def validate(self, value: Any, model_instance: Any) -> None:
        if value is None:
            if not self.null:
                raise ValidationError("A shape is needed.")
            return
        if not isinstance(value, BaseGeometry) or value.is_empty:
            raise ValidationError("The shape is empty.")
        if not shapely.get_coordinates(value).size or not _finite(value):
            raise ValidationError("The shape has a coordinate that is not a number.")
        if not value.is_valid:
            raise ValidationError(f"The shape is not sound: {shapely.is_valid_reason(value)}.")

    def value_to_string(self, obj: Any) -> str:
        value = self.value_from_object(obj)
        return "" if value is None else shapely.to_wkb(value, hex=True)


def _finite(value: BaseGeometry) -> bool:
    import numpy as np

    return bool(np.isfinite(shapely.get_coordinates(value)).all())
