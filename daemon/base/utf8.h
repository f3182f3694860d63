/* utf8.h: one step through UTF-8 (RFC 3629): no overlong forms, no surrogates, nothing above U+10FFFF. */
#ifndef TIPPLANE_BASE_UTF8_H
#define TIPPLANE_BASE_UTF8_H
#include <stddef.h>
#include <stdint.h>

/* Bytes of the character at `at` (1 to 4) with its number in *ret_point; 0 when the n bytes there do not begin with a whole valid one. */
size_t utf8_step(const char *at, size_t n, uint32_t *ret_point);

#endif
