#!/usr/bin/env python3
"""Writes the tables of keys in recipe.md, station.md and offline.md anew from schema/*.schema.json, between their marks.  Run from the repository's root.
With --check nothing is written: exit 1 when a table is not what the schema says."""
import json, re, sys

PAGES = {"docs/recipe.md": "schema/recipe.schema.json", "docs/station.md": "schema/station.schema.json", "docs/offline.md": "schema/plan.schema.json"}
BESIDE = {"docs/offline.md": {"parameters": "schema/limits.schema.json"}}  # parts of another document

LEAVES = {"docs/offline.md": {"model", "port_2", "data"}}  # not taken apart there: another page does


def kind_of(v):
    if "enum" in v:
        return " · ".join(w for w in v["enum"] if w != "unknown")
    if v.get("type") == "array":
        return "list"
    return {"string": "text", "boolean": "true, false"}.get(v.get("type"), v.get("type", ""))


def allowed(v):
    if "minimum" in v and "maximum" in v:
        return f"{v['minimum']:g} … {v['maximum']:g}"
    if "minItems" in v:
        return f"{v['minItems']} … {v.get('maxItems', '')} entries"
    if "maxLength" in v:
        return f"up to {v['maxLength']} characters"
    return ""


def rows_of(schema, path="", leaves=()):
    for key, v in schema.get("properties", {}).items():
        need = "yes" if key in schema.get("required", []) else f"{json.dumps(v['default'])}" if "default" in v else ""
        yield f"| `{path}{key}` | {kind_of(v)} | {allowed(v)} | {need} | {v.get('description', '')} |"
        if key not in leaves:
            yield from rows_of(v, f"{path}{key}.", leaves)
            yield from rows_of(v.get("items", {}), f"{path}{key}[].", leaves)


def table_of(schema, part, leaves):
    top = schema["properties"][part] if part != "top" else {"properties": {k: v for k, v in schema["properties"].items() if v.get("type") not in ("object", "array")}, "required": schema.get("required", [])}
    top, prefix = (top["items"], f"{part}[].") if top.get("type") == "array" else (top, f"{part}." if part != "top" else "")
    return "\n".join(["| key | kind | allowed | needed, or when absent | meaning |", "|---|---|---|---|---|", *rows_of(top, prefix, leaves)])


stale = []
for page, source in PAGES.items():
    schema = json.load(open(source))
    old = open(page).read()
    new = re.sub(r"(<!-- keys: (\w+) -->\n).*?(<!-- end -->)", lambda m: m[1] + table_of(json.load(open(BESIDE[page][m[2]])) if m[2] in BESIDE.get(page, {}) else schema, m[2], LEAVES.get(page, ())) + "\n" + m[3], old, flags=re.S)
    if new != old and "--check" in sys.argv:
        stale.append(page)
    elif new != old:
        open(page, "w").write(new)
if stale:
    sys.exit(f"{', '.join(stale)}: a table differs from its schema; run python3 docs/make_reference.py")
