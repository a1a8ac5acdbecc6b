"""Stored JSON is read back as what was written, and refused where it is anything else."""

import json
from dataclasses import dataclass, replace

import pytest

from contest.rules.draw import draw_from_seed
from contest.rules.draw.quality import Quality
from contest.rules.stored import Stored, StoredError, read, to_json
from tests.contest.rules.test_draw import full


@dataclass(frozen=True)
class Leaf:
    name: str
    size: float | None


@dataclass(frozen=True)
class Tree(Stored):
    FORMAT = 3

    age: int
    is_old: bool
    leaves: tuple[Leaf, ...]
    by_place: dict[str, tuple[int, str]]


TREE = Tree(7, True, (Leaf("alder", 1.5), Leaf("birch", None)), {"north": (1, "a")})


def stored():
    return json.loads(json.dumps(TREE.to_json()))


def test_document_round_trips_through_json():
    assert stored() == {
        "format": 3,
        "age": 7,
        "is_old": True,
        "leaves": [{"name": "alder", "size": 1.5}, {"name": "birch", "size": None}],
        "by_place": {"north": [1, "a"]},
    }
    assert Tree.from_json(stored()) == TREE


@pytest.mark.parametrize("number", [None, 2, 4, "3", True])
def test_another_format_is_refused_by_its_number(number):
    with pytest.raises(StoredError, match=f"format {number}, and this version of Fairbox reads format 3"):
        Tree.from_json(stored() | {"format": number})


@pytest.mark.parametrize(
    ("change", "error"),
    [
        (lambda document: document.pop("age"), "missing age"),
        (lambda document: document.update(height=3), "unknown height"),
        (lambda document: document["leaves"][1].pop("size"), "leaves.1: missing size"),
        (lambda document: document["leaves"][0].update(size="1.5"), "leaves.0.size: a text where a number is stored"),
        (lambda document: document.update(age=7.0), "age: a number where a whole number is stored"),
        (lambda document: document.update(age=True), "age: true or false where a whole number is stored"),
        (lambda document: document.update(is_old=1), "is_old: a whole number where true or false is stored"),
        (lambda document: document.update(leaves={}), "leaves: an object where a list is stored"),
        (lambda document: document["by_place"].update(south=[1]), "by_place.south: 1 values where 2 are stored"),
        (lambda document: document.update(by_place=None), "by_place: nothing where an object is stored"),
    ],
)
def test_wrong_shape_is_refused_with_its_place(change, error):
    document = stored()
    change(document)
    with pytest.raises(StoredError) as refused:
        Tree.from_json(document)
    assert str(refused.value) == error


def test_no_document_at_all_is_refused():
    for value in (None, [], "text", 3):
        with pytest.raises(StoredError, match="where Tree is stored"):
            Tree.from_json(value)


def test_whole_number_is_read_where_a_number_is_stored():
    leaf = read(Leaf, {"name": "alder", "size": 2})
    assert (leaf.size, type(leaf.size)) == (2.0, float)


def test_draw_quality_round_trips_without_its_sentence():
    quality = draw_from_seed(full(24, 4, 4), "x").quality
    document = json.loads(json.dumps(quality.to_json()))
    assert "sentence" not in document
    kept = Quality.from_json(document)
    assert kept == quality
    assert kept.sentence == quality.sentence != replace(quality, largest_concurrence=9).sentence
    assert to_json(kept) == to_json(quality)
