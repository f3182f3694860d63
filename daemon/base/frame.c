/* frame.c: whole messages over a byte stream.
 * Trust       nothing: magic, version, flags and length are checked before the body is read, memory grows with the bytes that have come,
 * not with the length that was promised, and the CRC covers header and body. Time-out    before the first byte it is CODE_TIMED_OUT and the
 * stream is still good.  Inside a frame it is CODE_BAD_REPLY: what has been read cannot be put back, so the stream is of no further use. */
#include "base/frame.h"
#include "base/hash.h"
#include <inttypes.h>
#include <string.h>

enum { PIECE_BYTES = 16 * 1024 }; /* on the stack: fibers have 256 KiB */
static const uint8_t MAGIC[4] = {'T', 'P', 'L', 'N'};

struct header {
        uint8_t kind;
        uint32_t epoch, body_n, crc;
        uint64_t step;
};

static void put_le(uint8_t *to, uint64_t value, size_t n)
{
        for (size_t i = 0; i < n; i++)
                to[i] = (uint8_t)(value >> (8 * i));
}

static uint64_t get_le(const uint8_t *from, size_t n)
{
        uint64_t value = 0;
        for (size_t i = 0; i < n; i++)
                value |= (uint64_t)from[i] << (8 * i);
        return value;
}

void frame_init(struct frame *f)
{
        *f = (struct frame){0};
        text_init(&f->body, FRAME_BODY_MAX);
}

void frame_done(struct frame *f) { text_done(&f->body); }

static enum code header_read(const uint8_t h[FRAME_HEADER_BYTES], struct header *ret, struct tp_error *err)
{
        if (memcmp(h, MAGIC, sizeof MAGIC) != 0)
                return tp_fail(err, CODE_BAD_REPLY, "the frame begins with %02x %02x %02x %02x, not with TPLN; is the other end Tipplane?",
                               h[0], h[1], h[2], h[3]);
        if (h[4] != FRAME_VERSION)
                return tp_fail(err, CODE_BAD_REPLY, "frame version %u, this program speaks %u; install the same release on both ends", h[4],
                               FRAME_VERSION);
        if (get_le(h + 6, 2) != 0 || get_le(h + 24, 4) != 0)
                return tp_fail(err, CODE_BAD_REPLY, "frame flags 0x%04x and reserved 0x%08x; both must be 0", (unsigned)get_le(h + 6, 2),
                               (unsigned)get_le(h + 24, 4));
        struct header found = {.kind = h[5],
                               .epoch = (uint32_t)get_le(h + 8, 4),
                               .body_n = (uint32_t)get_le(h + 12, 4),
                               .step = get_le(h + 16, 8),
                               .crc = (uint32_t)get_le(h + 28, 4)};
        if (found.body_n > FRAME_BODY_MAX)
                return tp_fail(err, CODE_BAD_REPLY, "the frame announces %" PRIu32 " bytes; at most %u are taken", found.body_n,
                               FRAME_BODY_MAX);
        *ret = found;
        return CODE_OK;
}

static uint32_t crc_of(const uint8_t header[FRAME_HEADER_BYTES], const void *body, size_t n)
{
        uint8_t blank[FRAME_HEADER_BYTES];
        memcpy(blank, header, sizeof blank);
        memset(blank + 28, 0, 4);
        return crc32c(crc32c(0, blank, sizeof blank), body, n);
}

static enum code crc_check(const uint8_t bytes[FRAME_HEADER_BYTES], const struct header *h, const void *body, struct tp_error *err)
{
        uint32_t found = crc_of(bytes, body, h->body_n);
        if (found == h->crc)
                return CODE_OK;
        return tp_fail(err, CODE_BAD_REPLY,
                       "the frame (kind %u, step %" PRIu64 ", %" PRIu32 " bytes) carries CRC %08" PRIx32 ", its bytes give %08" PRIx32
                       "; it was damaged on the way",
                       h->kind, h->step, h->body_n, h->crc, found);
}

static void frame_fill(struct frame *f, const struct header *h)
{
        f->kind = h->kind;
        f->epoch = h->epoch;
        f->step = h->step;
}

/* A read that ended between two frames is what it is; inside a frame the stream is lost. */
static enum code torn(enum code code, size_t got, size_t wanted, struct tp_error *err)
{
        if (code == CODE_TIMED_OUT)
                return tp_fail(err, CODE_BAD_REPLY, "only %zu of %zu bytes of a frame came before the deadline; connect again", got,
                               wanted);
        if (code == CODE_LINK_DEAD)
                return tp_where(err, "after %zu of %zu bytes of a frame", got, wanted);
        return code;
}

enum code frame_read(const struct world *w, struct conn *c, int64_t deadline_ns, struct frame *ret, struct tp_error *err)
{
        uint8_t bytes[FRAME_HEADER_BYTES];
        struct header h = {0};
        size_t got = 0, n = 0;
        while (got < sizeof bytes) {
                enum code code = w->net->read(w, c, bytes + got, sizeof bytes - got, deadline_ns, &n, err);
                if (code)
                        return got ? torn(code, got, sizeof bytes, err) : code;
                got += n;
        }
        enum code code = header_read(bytes, &h, err);
        if (code)
                return code;
        text_clear(&ret->body);
        ret->body.max = FRAME_BODY_MAX;
        for (got = 0; got < h.body_n; got += n) {
                char piece[PIECE_BYTES];
                size_t want = h.body_n - got < sizeof piece ? h.body_n - got : sizeof piece;
                code = w->net->read(w, c, piece, want, deadline_ns, &n, err);
                if (code)
                        return torn(code, FRAME_HEADER_BYTES + got, FRAME_HEADER_BYTES + h.body_n, err);
                text_bytes(&ret->body, piece, n);
                if (!text_ok(&ret->body))
                        return tp_fail_memory(err);
        }
        code = crc_check(bytes, &h, text_of(&ret->body), err);
        if (!code)
                frame_fill(ret, &h);
        return code;
}

enum code frame_parse(const void *bytes, size_t n, size_t *ret_used, struct frame *ret, struct tp_error *err)
{
        struct header h = {0};
        const uint8_t *p = bytes;
        if (n < FRAME_HEADER_BYTES)
                return tp_fail(err, CODE_NOT_FOUND, "%zu bytes, a frame has at least %d", n, FRAME_HEADER_BYTES);
        enum code code = header_read(p, &h, err);
        if (code)
                return code;
        if (n - FRAME_HEADER_BYTES < h.body_n)
                return tp_fail(err, CODE_NOT_FOUND, "%zu of %zu bytes of a frame", n, (size_t)FRAME_HEADER_BYTES + h.body_n);
        code = crc_check(p, &h, p + FRAME_HEADER_BYTES, err);
        if (code)
                return code;
        text_clear(&ret->body);
        ret->body.max = FRAME_BODY_MAX;
        text_bytes(&ret->body, p + FRAME_HEADER_BYTES, h.body_n);
        if (!text_ok(&ret->body))
                return tp_fail_memory(err);
        frame_fill(ret, &h);
        *ret_used = FRAME_HEADER_BYTES + h.body_n;
        return CODE_OK;
}

void frame_build(struct text *to, uint8_t kind, uint32_t epoch, uint64_t step, const void *body, size_t n)
{
        uint8_t h[FRAME_HEADER_BYTES] = {0};
        if (n > FRAME_BODY_MAX) {
                to->broken = true;
                return;
        }
        memcpy(h, MAGIC, sizeof MAGIC);
        h[4] = FRAME_VERSION;
        h[5] = kind;
        put_le(h + 8, epoch, 4);
        put_le(h + 12, n, 4);
        put_le(h + 16, step, 8);
        put_le(h + 28, crc_of(h, body, n), 4);
        text_bytes(to, h, sizeof h);
        text_bytes(to, body, n);
}

enum code frame_write(const struct world *w, struct conn *c, int64_t deadline_ns, uint8_t kind, uint32_t epoch, uint64_t step,
                      const void *body, size_t n, struct tp_error *err)
{
        struct text whole; /* header and body leave in one write, so that a short frame is one packet */
        if (n > FRAME_BODY_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a frame of %zu bytes; at most %u are sent", n, FRAME_BODY_MAX);
        text_init(&whole, FRAME_HEADER_BYTES + (size_t)FRAME_BODY_MAX);
        frame_build(&whole, kind, epoch, step, body, n);
        enum code code = text_ok(&whole) ? w->net->write(w, c, whole.at, whole.n, deadline_ns, err) : tp_fail_memory(err);
        text_done(&whole);
        return code;
}
