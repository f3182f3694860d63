/* frame.h: messages between tipplaned and tipplane-station over a byte stream.
   32-byte header, little endian: magic "TPLN" u32, version u8, kind u8, flags u16 (0), epoch u32, body bytes u32 (<= 16 MiB), step u64,
   reserved u32 (0), CRC-32C u32 over header (with this field 0) and body.  Bodies are strict JSON, traces are raw bytes. */
#ifndef TIPPLANE_BASE_FRAME_H
#define TIPPLANE_BASE_FRAME_H
#include "base/world.h"

#define FRAME_HEADER_BYTES 32
#define FRAME_VERSION 1
#define FRAME_BODY_MAX (16u << 20)

struct frame {
        uint8_t kind; /* enum frame_kind of station/protocol.h */
        uint32_t epoch;
        uint64_t step;
        struct text body; /* the frame's own: frame_done */
};
void frame_init(struct frame *);
void frame_done(struct frame *);
/* Reads exactly one frame.  A bad magic, version, length or CRC is CODE_BAD_REPLY: the stream is then of no further use. */
enum code frame_read(const struct world *, struct conn *, int64_t deadline_ns, struct frame *ret, struct tp_error *);
enum code frame_write(const struct world *, struct conn *, int64_t deadline_ns, uint8_t kind, uint32_t epoch, uint64_t step,
                      const void *body, size_t n, struct tp_error *);
/* The same over memory, for tests and fuzzing: *ret_used bytes were eaten; CODE_NOT_FOUND when more bytes are needed. */
enum code frame_parse(const void *bytes, size_t n, size_t *ret_used, struct frame *ret, struct tp_error *);
void frame_build(struct text *to, uint8_t kind, uint32_t epoch, uint64_t step, const void *body, size_t n);

#endif
