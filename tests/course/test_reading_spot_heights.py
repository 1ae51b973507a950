"""Tables of spot heights as they really arrive."""

from __future__ import annotations

import numpy as np
import pytest

from worksprog.course.reading.results import AxesSwapped, ReadError
from worksprog.course.reading.spot_heights import SpotHeights, read_spot_heights

NEAR = (451000.0, 213000.0, 452000.0, 213800.0)
POINTS = [
    (451010.123, 213020.5, 61.204, "GL"),
    (451020.0, 213031.25, 61.5, "DTCH"),
    (451033, 213040, 62.75, ""),
]


def written(
    separator: str = ",", decimal: str = ".", heading: str = "", number: bool = False
) -> str:
    lines = [heading] if heading else []
    for index, (x, y, z, code) in enumerate(POINTS, start=1):
        fields = [f"{value:.3f}".replace(".", decimal) for value in (x, y, z)] + [code]
        lines.append(separator.join(([str(index)] if number else []) + fields))
    return "\n".join(lines) + "\n"


def read(text: str | bytes, **more: object) -> SpotHeights:
    data = text.encode() if isinstance(text, str) else text
    return read_spot_heights(data, epsg=27700, **{"near": NEAR, **more})  # type: ignore[arg-type]


def assert_all_three(got: SpotHeights) -> None:
    assert got.refusals == ()
    assert np.allclose(got.xyz, [point[:3] for point in POINTS])
    assert got.codes == ("GL", "DTCH", "")


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize(
    "heading", ["", "Easting,Northing,Level,Code", "E (m),N (m),RL,Feature code"]
)
def test_separators_with_and_without_heading(separator: str, heading: str) -> None:
    got = read(written(separator, heading=heading.replace(",", separator)))
    assert_all_three(got)
    assert got.form.has_heading is bool(heading)
    assert got.form.separator == separator
    assert got.rows.tolist() == ([2, 3, 4] if heading else [1, 2, 3])


@pytest.mark.parametrize("separator", [";", "\t"])
@pytest.mark.parametrize("heading", ["", "x;y;z;code"])
def test_decimal_comma(separator: str, heading: str) -> None:
    got = read(written(separator, decimal=",", heading=heading.replace(";", separator)))
    assert_all_three(got)
    assert "decimal comma" in got.notices[0]


def test_columns_in_another_order_follow_the_heading() -> None:
    got = read(
        "code,level,northing,easting\nGL,61.2,213020.5,451010.1\nGL,61.3,213021.5,451011.1\n"
    )
    assert got.xyz[0].tolist() == [451010.1, 213020.5, 61.2]


@pytest.mark.parametrize("heading", ["", "Point,E,N,Z,Code"])
def test_a_point_number_in_front_is_no_coordinate(heading: str) -> None:
    assert_all_three(read(written(number=True, heading=heading)))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(encoding: str) -> None:
    text = "easting,northing,level,code\r\n451010,213020,61.2,café\r\n451011,213021,61.3,GL\r\n"
    got = read(text.encode(encoding))
    assert got.codes == ("café", "GL")
    assert any("Latin-1" in notice for notice in got.notices) is (encoding == "latin-1")


def test_rows_are_refused_with_their_line_and_reason() -> None:
    got = read(
        "easting,northing,level,code\n"
        "# taken in the rain\n"
        "451010,213020,61.2,GL\n"
        "451011,213021,,GL\n"
        "\n"
        "451012,twenty,61.2,GL\n"
        "451013,213023\n"
        "451014,213024,nan,GL\n"
        "451015,213025,-9999,GL\n"
        "451016,213026,1_0,GL\n"
        "471016,213026,61.0,GL\n"
        "451017,213027,61.4,GL\n"
    )
    assert len(got.xyz) == 2
    assert [(refusal.row, refusal.reason) for refusal in got.refusals] == [
        ("line 4", "the level is missing"),
        ("line 6", "the northing “twenty” is not a number"),
        ("line 7", "the level is missing"),
        ("line 8", "the level “nan” is not a number"),
        ("line 9", "a level of -9999 m is not on this earth"),
        ("line 10", "the level “1_0” is not a number"),
        ("line 11", "lies 19.0 km from the course (471016.0, 213026.0)"),
    ]


def test_duplicates_are_told_and_the_first_one_kept() -> None:
    got = read(
        "451010,213020,61.2,A\n451011,213020,61.0,B\n451010.0002,213020,61.2,C\n451010,213020,61.55,D\n"
    )
    assert got.codes == ("A", "B")
    assert [refusal.reason for refusal in got.refusals] == [
        "same place as line 1, the same level; first one kept",
        "same place as line 1, levels 0.350 m apart; first one kept",
    ]
    assert any("2 places told more than once" in notice for notice in got.notices)


def test_swapped_axes_are_recognised_and_exchanged_only_when_asked() -> None:
    text = "213020,451010,61.2\n213021,451011,61.3\n213022,451015,61.1\n"
    with pytest.raises(AxesSwapped, match="look exchanged"):
        read(text)
    got = read(text, swap_axes=True)
    assert got.xyz[0].tolist() == [451010, 213020, 61.2]
    assert any("exchanged on reading" in notice for notice in got.notices)


@pytest.mark.parametrize("near", [NEAR, None])
@pytest.mark.parametrize(
    "text", ["51.81331,-1.26015,61.2\n51.81332,-1.26017,61.3\n", "-1.26015,51.81331,61.2\n"]
)
def test_degrees_are_recognised(text: str, near: object) -> None:
    with pytest.raises(ReadError, match="latitude and longitude in degrees"):
        read(text, near=near)


def test_degrees_are_recognised_by_their_heading() -> None:
    with pytest.raises(ReadError, match="latitude and longitude"):
        read("lat,lon,level\n51.8,-1.26,61\n")


def test_another_grid_is_recognised_by_its_distance() -> None:
    utm = "610000,5741000,61.2\n610010,5741010,61.3\n"
    with pytest.raises(ReadError, match="km from the course"):
        read(utm)
    with pytest.raises(ReadError, match="outside the area of EPSG 27700"):
        read(utm, near=None)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("  \n \n", "empty"),
        ("# only a remark\n", "no rows"),
        ("easting,northing,level\n", "nothing below"),
        ("easting,northing\n451010,213020\n", "could not be told apart|names no column for level"),
        ("point,east,height,code\n1,451010,61,GL\n", "names no column for northing"),
        ("just some words\nand some more\n", "could not be told apart"),
        ("451010,12,213020,50,61,20\n451011,12,213021,50,61,25\n", "comma seems to stand both"),
        ("easting,northing,level\n451010,12,213020,50,61,20\n", "comma seems to stand both"),
    ],
)
def test_tables_that_cannot_be_used_are_told(text: str, words: str) -> None:
    with pytest.raises(ReadError, match=words):
        read(text)


def test_binary_and_broken_text_are_told() -> None:
    with pytest.raises(ReadError, match="binary"):
        read(b"451010,213020,61\x00\x01\n")
    with pytest.raises(ReadError, match="UTF-16"):
        read(b"\xff\xfe4\x00\xd8")
    with pytest.raises(ReadError, match="cannot be read"):
        read("451010,213020,61.2," + "x" * 200_000 + "\n")


def test_a_file_of_only_bad_rows_takes_nothing_and_says_why() -> None:
    got = read("451010,213020,high\n451011,213021,low\n")
    assert len(got.xyz) == 0
    assert len(got.refusals) == 2


def test_fifty_thousand_rows_are_all_taken() -> None:
    rng = np.random.default_rng(2)
    xy = np.unique(np.round(rng.uniform(0, 600, (50_000, 2)), 3), axis=0) + np.array(
        [451000, 213000]
    )
    got = read("\n".join(f"{x:.3f},{y:.3f},61.25,GL" for x, y in xy))
    assert len(got.xyz) == len(xy)
