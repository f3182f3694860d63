/* digest.h: 16 bytes that change when any of the bytes of a trace does. */
#ifndef TIPPLANE_STORE_DIGEST_H
#define TIPPLANE_STORE_DIGEST_H
#include <stddef.h>
#include <stdint.h>

void trace_digest(const void *bytes, size_t n, uint8_t ret[16]);

#endif
