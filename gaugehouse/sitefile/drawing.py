"""A tank's drawing, from the keys of `shape` to the shape: which keys go with which kind, and what fits together.

Knows words of the site file; volumes are of `models.geometry`.
"""

from typing import Final

from gaugehouse.sitefile.problems import Report, listed
from gaugehouse.sitefile.stockschema import HeadTable, ShapeTable
from models.errors import OutOfRange
from models.geometry import FLAT, Box, Head, HeadKind, LyingCylinder, Shape, Sphere, UprightCylinder
from models.geometry_tilted import (
    SlopedBottomCylinder,
    TiltedBox,
    TiltedLyingCylinder,
    TiltedUprightCylinder,
)

NEEDED: Final = {
    "upright": ("diameter", "height"),
    "lying": ("diameter", "length"),
    "box": ("length", "width", "height"),
    "sphere": ("diameter",),
}
ALLOWED: Final = {
    "upright": ("bottom", "top", "fall", "tilt", "gauge"),
    "lying": ("ends", "left_end", "right_end", "tilt", "gauge"),
    "box": ("tilt", "gauge"),
    "sphere": (),
}
_ENDS: Final = ("bottom", "top", "ends", "left_end", "right_end")
_SIZES: Final = ("diameter", "height", "length", "width")
_EXAMPLES: Final = {"diameter": "10 m", "width": "3 m"}


def drawn(report: Report, key: str, shape: ShapeTable) -> Shape | None:
    """The shape of a sound table, or None with every mistake told."""
    if _wrong_keys(report, key, shape) or _wrong_ends(report, key, shape) or _wrong_together(report, key, shape):
        return None
    try:
        return _shape(shape)
    except OutOfRange as exc:
        report.error(key, f"{exc}; mend the sizes", found=shape.kind)
        return None


def _wrong_keys(report: Report, key: str, shape: ShapeTable) -> bool:
    needed, allowed = NEEDED[shape.kind], ALLOWED[shape.kind]
    wrong = False
    for name in (*_SIZES, *_ENDS, "fall", "tilt", "gauge"):
        given = getattr(shape, name) is not None
        if given and name not in (*needed, *allowed):
            has = " and ".join(needed) if len(needed) < 3 else ", ".join(needed)
            text = f'this key does not belong to kind = "{shape.kind}", which has {has}; remove it'
            report.error(f"{key}.{name}", text, allowed=listed((*needed, *allowed)))
            wrong = True
        elif not given and name in needed:
            like = _EXAMPLES.get(name, "8 m")
            report.error(
                f"{key}.{name}",
                f'missing; kind = "{shape.kind}" needs it, add {name} = "{like}"',
                allowed=f'"{like}"',
            )
            wrong = True
    return wrong


def _wrong_ends(report: Report, key: str, shape: ShapeTable) -> bool:
    wrong = False
    for name in _ENDS:
        head: HeadTable | None = getattr(shape, name)
        if head is None:
            continue
        here, text = f"{key}.{name}", ""
        depth_needed = head.kind not in ("flat", "torispherical")
        if depth_needed and head.depth is None:
            here, text = f"{here}.depth", f'missing; {_a(head.kind)} end needs it, add depth = "0.6 m"'
        elif not depth_needed and head.depth is not None:
            why = "follows from crown and knuckle" if head.kind == "torispherical" else "is none: the end is flat"
            here, text = f"{here}.depth", f"its depth {why}; remove this key"
        elif head.kind != "torispherical" and (head.crown is not None or head.knuckle is not None):
            text = f'crown and knuckle go with kind = "torispherical", not with "{head.kind}"; remove them'
        elif head.kind == "guppy" and shape.kind != "lying":
            here, text = f"{here}.kind", "a guppy end belongs to a lying tank; choose another form"
        elif head.stands == "in" and name != "bottom":
            here, text = f"{here}.stands", "only a bottom may stand in; remove this key"
        elif head.stands == "in" and head.kind == "flat":
            here, text = f"{here}.stands", "a flat bottom stands neither in nor out; remove this key"
        if text:
            report.error(here, text)
            wrong = True
    return wrong


def _a(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def _wrong_together(report: Report, key: str, shape: ShapeTable) -> bool:
    text, here = "", key
    curved = [name for name in _ENDS if (head := getattr(shape, name)) is not None and head.kind != "flat"]
    if shape.ends is not None and (shape.left_end is not None or shape.right_end is not None):
        here, text = f"{key}.ends", "the ends are given twice; keep `ends`, or `left_end` and `right_end`"
    elif shape.tilt is not None and shape.fall is not None:
        here, text = f"{key}.tilt", "a bottom that falls already leans; remove fall or tilt"
    elif shape.fall is not None and curved:
        here, text = f"{key}.fall", f"a bottom that falls is flat; remove {curved[0]} or fall"
    elif shape.gauge is not None and shape.tilt is None:
        here, text = f"{key}.gauge", "where the gauge stands matters for a tilted tank only; remove it, or add tilt"
    elif shape.tilt is not None and shape.gauge is None and shape.kind != "upright":
        here = f"{key}.gauge"
        text = 'missing; with a tilt it must be known how far from the deeper end the gauge stands, add gauge = "1 m"'
    if text:
        report.error(here, text)
    return bool(text)


def _shape(shape: ShapeTable) -> Shape:
    """The shape of a table whose keys fit together. Raises `OutOfRange` for sizes that are no tank's."""
    diameter, height = shape.diameter or 0.0, shape.height or 0.0
    length, width = shape.length or 0.0, shape.width or 0.0
    tilt = None if shape.tilt is None else shape.tilt / 100
    gauge = shape.gauge or 0.0
    bottom, top = _head(shape.bottom), _head(shape.top)
    left, right = _head(shape.left_end or shape.ends), _head(shape.right_end or shape.ends)
    match shape.kind:
        case "sphere":
            return Sphere(diameter)
        case "box" if tilt is not None:
            return TiltedBox(length, width, height, tilt, gauge)
        case "box":
            return Box(length, width, height)
        case "lying" if tilt is not None:
            return TiltedLyingCylinder(diameter, length, tilt, gauge, left, right)
        case "lying":
            return LyingCylinder(diameter, length, left, right)
        case _ if tilt is not None:
            return TiltedUprightCylinder(diameter, height, tilt, gauge, bottom, top)
        case _ if shape.fall is not None:
            return SlopedBottomCylinder(diameter, height, shape.fall)
        case _:
            return UprightCylinder(diameter, height, bottom, top)


def _head(table: HeadTable | None) -> Head:
    if table is None:
        return FLAT
    depth = table.depth or 0.0
    if table.stands == "in":  # of a torispherical head, whose depth follows from its radii, only the sign counts
        depth = -(depth or 1.0)
    return Head(HeadKind(table.kind), depth, table.crown or FLAT.crown_frac, table.knuckle or FLAT.knuckle_frac)
