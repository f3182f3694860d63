/* hash.h: SHA-256 (FIPS 180-4), CRC-32C (RFC 3720), a fast 64-bit content hash, hex. Pure. */
#ifndef TIPPLANE_BASE_HASH_H
#define TIPPLANE_BASE_HASH_H
#include "base/error.h"
#include <stdint.h>

struct sha256 {
        uint32_t h[8];
        uint64_t bytes;
        uint8_t block[64];
};
void sha256_init(struct sha256 *);
void sha256_add(struct sha256 *, const void *bytes, size_t n);
void sha256_end(struct sha256 *, uint8_t ret[32]);
void sha256_of(const void *bytes, size_t n, uint8_t ret[32]);
uint32_t crc32c(uint32_t before, const void *bytes, size_t n); /* start with 0 */
uint64_t hash64(const void *bytes, size_t n);                  /* FNV-1a */
void hex_of(const uint8_t *bytes, size_t n, char *ret /* 2n+1 */);
bool hex_read(const char *hex, uint8_t *ret, size_t n); /* exactly 2n digits */

#endif
