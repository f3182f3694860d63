/* audit.c: who did what, chained: a changed, removed or inserted row breaks every digest after it.  A chain proves nothing by itself: its
   head must also stand somewhere else (printed, shipped), or all of it could be computed anew. */
#include "store/audit.h"
#include "base/hash.h"
#include "store/own.h"
#include <string.h>

static void add_u64(struct sha256 *h, uint64_t x)
{
        uint8_t bytes[8];
        for (int i = 0; i < 8; i++)
                bytes[i] = (uint8_t)(x >> (8 * i));
        sha256_add(h, bytes, 8);
}

static void add_text(struct sha256 *h, const char *text)
{
        add_u64(h, text ? strlen(text) : UINT64_MAX);
        if (text)
                sha256_add(h, text, strlen(text));
}

void audit_digest(const uint8_t previous[32], const struct audit_fields *f, uint8_t ret[32])
{
        struct sha256 h;
        sha256_init(&h);
        sha256_add(&h, previous, 32);
        add_u64(&h, (uint64_t)f->seq);
        add_u64(&h, (uint64_t)f->at_us);
        add_u64(&h, (uint64_t)f->boot_ns);
        sha256_add(&h, f->boot, 16);
        const char *const texts[] = {f->token, f->what, f->target, f->body, f->result};
        for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
                add_text(&h, texts[i]);
        sha256_end(&h, ret);
}

enum code audit_row(struct store *s, const char *token, const char *what, const char *target, const char *body, const char *result,
                    struct tp_error *err)
{
        struct db *db = &s->catalogue;
        sqlite3_stmt *q = NULL;
        bool has = false;
        uint8_t previous[32] = {0}, digest[32];
        struct audit_fields f = {.seq = 1,
                                 .at_us = world_wall_us(s->w),
                                 .boot_ns = world_boot_ns(s->w),
                                 .boot = s->boot,
                                 .token = token,
                                 .what = what ? what : "",
                                 .target = target ? target : "",
                                 .body = body ? body : "",
                                 .result = result ? result : ""};
        enum code code = db_ask(db, &q, err, "SELECT seq, digest FROM audit ORDER BY seq DESC LIMIT 1", "");
        if (!code)
                code = db_row(db, q, &has, err);
        if (!code && has) {
                f.seq = sqlite3_column_int64(q, 0) + 1;
                if (sqlite3_column_bytes(q, 1) == 32)
                        memcpy(previous, sqlite3_column_blob(q, 1), 32);
        }
        db_end(q);
        if (code)
                return code;
        audit_digest(previous, &f, digest);
        return db_run(db, err, "INSERT INTO audit VALUES(?,?,?,?,?,?,?,?,?,?,?)", "iibitttttbb", f.seq, f.at_us, (const void *)s->boot,
                      (size_t)16, f.boot_ns, f.token, f.what, f.target, f.body, f.result, (const void *)previous, (size_t)32,
                      (const void *)digest, (size_t)32);
}
