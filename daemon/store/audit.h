/* audit.h: the digest that chains audit rows. */
#ifndef TIPPLANE_STORE_AUDIT_H
#define TIPPLANE_STORE_AUDIT_H
#include "base/error.h"
#include <stdint.h>

struct audit_fields {
        int64_t seq, at_us, boot_ns;
        const uint8_t *boot; /* 16 bytes */
        const char *token /* or NULL */, *what, *target, *body, *result;
};
/* SHA-256 over: previous (32 bytes), seq, at_us, boot_ns (8 bytes each, little-endian), boot (16), then each text as its length in bytes (8
   bytes, little-endian; all ones for NULL) and its bytes, in the order token, what, target, body, result. */
void audit_digest(const uint8_t previous[32], const struct audit_fields *, uint8_t ret[32]);

#endif
