"""The tracer: folding, the chain rule, and code that computes what the graph says."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from computations.compiled import compile_columns, compile_numbers
from computations.graph import Differentials, Graph, Node

NUMBERS = st.floats(-50, 50, allow_subnormal=False)


def test_what_is_known_is_folded_and_equal_nodes_are_one() -> None:
    graph = Graph()
    x = graph.input("x")
    assert (x + 0.0) is x
    assert (x * 1.0) is x
    assert (x - x).is_value(0.0)
    assert (2.0 * (3.0 * x)) is (6.0 * x)
    assert (x + 1.0) is (1.0 + x)
    assert (graph.const(2.0) / 4.0).value == 0.5
    assert graph.const(0.0) is not graph.const(-0.0)
    assert graph.const(math.nan) is graph.const(math.nan)


def formula(graph: Graph, x: Node, y: Node) -> Node:
    inner = graph.sqrt(x * x + y * y + 1.0)
    return graph.choose(x - y, inner / (y * y + 2.0), -x * y + 3.0 / inner)


def plain(x: float, y: float) -> float:
    inner = math.sqrt(x * x + y * y + 1.0)
    return inner / (y * y + 2.0) if x - y >= 0 else -x * y + 3.0 / inner


def test_after_a_rest_equal_nodes_are_still_one() -> None:
    graph = Graph()
    x = graph.input("x")
    nodes = [x * 2.0 + 1.0, graph.sqrt(x), graph.choose(x, 0.0, -0.0)]
    made = len(graph.nodes)
    graph.rest()
    assert [x * 2.0 + 1.0, graph.sqrt(graph.input("x")), graph.choose(x, 0.0, -0.0)] == nodes
    assert len(graph.nodes) == made
    assert graph.input("y").index == made


@given(NUMBERS, NUMBERS)
def test_compiled_numbers_and_columns_compute_the_formula(x: float, y: float) -> None:
    graph = Graph()
    node = formula(graph, graph.input("x"), graph.input("y"))
    numbers = compile_numbers(graph, ["x", "y"], [node])
    columns = compile_columns(graph, ["x", "y"], [node])
    assert numbers([x, y])[0] == pytest.approx(plain(x, y), rel=1e-12, abs=1e-12)
    (answer,) = columns([np.array([x, y]), np.array([y, x])])
    assert answer == pytest.approx([plain(x, y), plain(y, x)], rel=1e-12, abs=1e-12)


@given(NUMBERS, NUMBERS)
def test_differentials_are_the_derivatives(x: float, y: float) -> None:
    graph = Graph()
    nodes = graph.input("x"), graph.input("y")
    node = formula(graph, *nodes)
    one = graph.const(1.0)
    form = Differentials(graph, {nodes[0]: {"x": one}, nodes[1]: {"y": one}}).of(node)
    slopes = compile_numbers(graph, ["x", "y"], [form["x"], form["y"]])([x, y])
    h = 1e-6
    if abs(x - y) < 4 * h:
        return  # the two branches meet there
    by_x = (plain(x + h, y) - plain(x - h, y)) / (2 * h)
    by_y = (plain(x, y + h) - plain(x, y - h)) / (2 * h)
    assert slopes == pytest.approx((by_x, by_y), rel=1e-5, abs=1e-5)


def test_numbers_raise_where_columns_answer_nan() -> None:
    graph = Graph()
    x = graph.input("x")
    with pytest.raises(ArithmeticError):
        compile_numbers(graph, ["x"], [1.0 / x])([0.0])
    with np.errstate(all="ignore"):
        (answer,) = compile_columns(graph, ["x"], [1.0 / x - 1.0 / x * 2.0])([np.zeros(1)])
    assert not np.isfinite(answer).any()


def test_a_change_that_cancels_for_certain_is_dropped() -> None:
    graph = Graph()
    a, b = graph.input("a"), graph.input("b")
    one = graph.const(1.0)
    differentials = Differentials(graph, {a: {"edge": -one, "a": one}, b: {"edge": one, "b": one}})
    assert set(differentials.of(a + b)) == {"a", "b"}


def test_very_long_expressions_compile() -> None:
    graph = Graph()
    x = graph.input("x")
    total = x
    for i in range(2000):
        total = total * 1.0001 + float(i)
    value = compile_numbers(graph, ["x"], [total])([1.0])[0]
    expected = 1.0
    for i in range(2000):
        expected = expected * 1.0001 + i
    assert value == pytest.approx(expected, rel=1e-12)
