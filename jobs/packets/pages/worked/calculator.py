"""The arithmetic of a printed line, so that no line is printed whose numbers do not give its result."""

import ast
import math
import operator
import re
from collections.abc import Callable
from typing import Final

_SIGNS: Final = (("−", "-"), ("×", "*"), ("·", "*"), ("√", "sqrt"), ("²", "**2"), ("°", ""))
_SIZE: Final = re.compile(r"\|([^|]*)\|")
_CALLS: Final[dict[str, Callable[..., float]]] = {
    "sqrt": math.sqrt,
    "abs": abs,
    "max": max,
    "min": min,
    "sin": lambda degrees: math.sin(math.radians(degrees)),
    "cos": lambda degrees: math.cos(math.radians(degrees)),
    "tan": lambda degrees: math.tan(math.radians(degrees)),
    "atan": lambda ratio: math.degrees(math.atan(ratio)),
    "asin": lambda ratio: math.degrees(math.asin(ratio)),
}
_PAIRS: Final[dict[type[ast.operator], Callable[[float, float], float]]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}


def worth(text: str) -> float:
    """What ``(0.05 − 0.20) / 2`` comes to: + − × / ² √ | | and sin, cos, tan, atan, asin in degrees.

    Raises:
        ValueError: the text is no such sum, or has no value.
    """
    for printed, plain in _SIGNS:
        text = text.replace(printed, plain)
    text = _SIZE.sub(r"abs(\1)", text)
    try:
        return _value(ast.parse(text.strip(), mode="eval").body)
    except (SyntaxError, KeyError, TypeError, ArithmeticError, RecursionError) as error:
        raise ValueError(f"not a sum: {text}") from error


def _value(node: ast.expr) -> float:
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        return float(node.value)
    if isinstance(node, ast.BinOp):
        return float(_PAIRS[type(node.op)](_value(node.left), _value(node.right)))
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.UAdd):
        inner = _value(node.operand)
        return -inner if isinstance(node.op, ast.USub) else inner
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and not node.keywords:
        return float(_CALLS[node.func.id](*(_value(item) for item in node.args)))
    raise ValueError("not a sum")
