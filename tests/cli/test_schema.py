"""What ``--json`` prints is what its schema describes, no key more and none less."""

from __future__ import annotations

import json

import pytest
from tests.cli.doors import BRIEF, RATINGS, SAMPLES

from coupage.cli.main import main

TYPES = {
    "object": dict, "array": list, "string": str, "integer": int, "number": (int, float),
    "boolean": bool, "null": type(None),
}  # fmt: skip


def check(value, schema, root, where="$"):
    """The part of JSON Schema 2020-12 that ours uses; an unknown keyword fails."""
    used = set(schema) - {"$schema", "$defs", "title", "description"}
    assert used <= {
        "$ref", "type", "properties", "required", "additionalProperties", "items", "enum", "const",
        "anyOf", "minimum", "maximum", "exclusiveMinimum", "minItems", "maxItems",
    }, f"{where}: {used}"  # fmt: skip
    if "$ref" in schema:
        return check(value, root["$defs"][schema["$ref"].rsplit("/", 1)[1]], root, where)
    if "anyOf" in schema:
        assert any(holds(value, one, root, where) for one in schema["anyOf"]), where
        return None
    if "type" in schema:
        names = [schema["type"]] if isinstance(schema["type"], str) else schema["type"]
        assert isinstance(
            value,
            tuple(TYPES[n] for n in names if n != "number")
            + ((int, float) if "number" in names else ()),
        ), where
        assert "boolean" in names or not isinstance(value, bool), where
    assert value in schema.get("enum", [value]), where
    assert value == schema.get("const", value), where
    if isinstance(value, dict):
        known = schema.get("properties", {})
        assert set(schema.get("required", ())) <= set(value), where
        for key, inner in value.items():
            rule = known.get(key, schema.get("additionalProperties"))
            assert rule not in (False, None), f"{where}.{key} is not described"
            check(inner, rule, root, f"{where}.{key}")
    if isinstance(value, list):
        assert schema.get("minItems", 0) <= len(value) <= schema.get("maxItems", 10**9), where
        for at, inner in enumerate(value):
            check(inner, schema["items"], root, f"{where}[{at}]")
    if isinstance(value, int | float) and not isinstance(value, bool):
        assert schema.get("minimum", value) <= value <= schema.get("maximum", value), where
        assert value > schema.get("exclusiveMinimum", value - 1), where
    return None


def holds(value, schema, root, where):
    try:
        check(value, schema, root, where)
    except AssertionError:
        return False
    return True


@pytest.fixture(scope="module")
def schema():
    return _printed(["analyse", "--schema"])


def _printed(arguments):
    import contextlib
    import io

    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(arguments) == 0
    return json.loads(out.getvalue())


@pytest.mark.parametrize("more", [[], ["--brief", str(BRIEF)]])
def test_the_output_is_as_described(schema, more):
    data = _printed(["analyse", str(RATINGS), str(SAMPLES), "--json", *more])
    check(data, schema, schema)
    assert (data["brief"] is None) == (not more)


def test_every_described_key_is_explained(schema):
    def walk(node, where):
        for key, rule in node.get("properties", {}).items():
            told = "description" in rule or "$ref" in rule
            plain = where.startswith(("belief", "comparison", "brief"))
            assert told or plain, f"{where}.{key} has no description"
            walk(rule, f"{where}.{key}")
        for inner in ("items", "additionalProperties"):
            if isinstance(node.get(inner), dict):
                walk(node[inner], where)

    walk(schema, "$")
    for name, rule in schema["$defs"].items():
        walk(rule, name)


def test_the_checker_itself_sees_what_is_wrong(schema):
    data = _printed(["analyse", str(RATINGS), str(SAMPLES), "--json"])
    for spoil in (
        lambda d: d.pop("seed"),
        lambda d: d.update(extra=1),
        lambda d: d["pairs"][0].update(verdict="alike"),
        lambda d: d["profiles"][0]["attributes"]["body"].update(mean="5"),
        lambda d: d["pairs"][0].update(chance_same=1.2),
    ):
        spoiled = json.loads(json.dumps(data))
        spoil(spoiled)
        assert not holds(spoiled, schema, schema, "$")
