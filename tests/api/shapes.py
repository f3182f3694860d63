"""shapes.py: the part of JSON Schema that schema/openapi.yaml uses, so that answers can be held against it with Debian's python3 alone."""
import re

TYPES = {"object": dict, "array": list, "string": str, "boolean": bool, "null": type(None)}


def is_type(value, name):
    if name in ("integer", "number"):
        return isinstance(value, (int, float)) and not isinstance(value, bool) and (name == "number" or value == int(value))
    return isinstance(value, TYPES[name])


class Shapes:
    def __init__(self, document):
        self.document = document

    def resolve(self, schema):
        while "$ref" in schema:
            at = self.document
            for part in schema["$ref"][2:].split("/"):
                at = at[part]
            schema = at
        return schema

    def wrong(self, value, schema, where="", closed=True):
        """Sentences, one for each thing that is not as the schema says.  closed: a key the schema does not name is wrong too (ours are additive, but documented)."""
        schema = self.resolve(schema)
        if "oneOf" in schema:
            tries = [self.wrong(value, s, where, closed) for s in schema["oneOf"]]
            return [] if any(not t for t in tries) else ["%s: fits none of oneOf: %s" % (where, min(tries, key=len)[:2])]
        out = []
        types = schema.get("type")
        if types and not any(is_type(value, t) for t in ([types] if isinstance(types, str) else types)):
            return ["%s: %r is not %s" % (where, value, types)]
        if "enum" in schema and value not in schema["enum"]:
            out.append("%s: %r is none of %s" % (where, value, schema["enum"]))
        if "pattern" in schema and isinstance(value, str) and not re.search(schema["pattern"], value):
            out.append("%s: %r does not match %s" % (where, value, schema["pattern"]))
        if isinstance(value, dict) and ("properties" in schema or "required" in schema or isinstance(schema.get("additionalProperties"), dict)):
            known, more = schema.get("properties", {}), schema.get("additionalProperties")
            out += ["%s: %s is missing" % (where, k) for k in schema.get("required", []) if k not in value]
            for k, v in value.items():
                if k in known:
                    out += self.wrong(v, known[k], where + "/" + k, closed)
                elif isinstance(more, dict):
                    out += self.wrong(v, more, where + "/" + k, closed)
                elif closed:
                    out.append("%s: %s is not in the schema" % (where, k))
        if isinstance(value, list) and "items" in schema:
            for i, v in enumerate(value):
                out += self.wrong(v, schema["items"], "%s/%d" % (where, i), closed)
        return out[:20]
