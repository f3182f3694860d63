/* fuzz_json.h: what all JSON is made of, and what hurts in it, for the words of a reader of JSON (fuzz.h). */
#ifndef TIPPLANE_TESTS_FUZZ_JSON_H
#define TIPPLANE_TESTS_FUZZ_JSON_H

#define FUZZ_JSON_WORDS "{", "}", "[", "]", ":", ",", "\"", "null", "true", "false", "\\u0000", "\\u0007", "\\ud800", "\xff", "{}", "[]"
/* Columns of complex numbers, as formats/ writes them. */
#define FUZZ_JSON_COLUMNS "{\"re\":[", "],\"im\":[", "0,", "1e-320", "1e200"

#endif
