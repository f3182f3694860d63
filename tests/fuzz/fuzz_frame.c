/* fuzz_frame.c: what comes over the socket.  The bytes as they are, and the same with a right checksum, so that lengths, kinds and bodies
   are reached too: the body is then read as the field table of its kind says. */
#include "tests/fuzz/fuzz.h"
#include "station/protocol.h"

static const char *const fuzz_words[] = {"TPLN", "{",          "}",          "\"kind\":", "\"sweep\"", "\"lower\"",
                                         "null", "\"epoch\":", "\"state\":", "1e400",     "\xff",      NULL};

static const struct object *const bodies[] = {[FRAME_HELLO] = &hello_object,          [FRAME_CLEAR] = &clear_object,
                                              [FRAME_WELCOME] = &welcome_body_object, [FRAME_REFUSED] = &refusal_object,
                                              [FRAME_RESULT] = &result_object,        [FRAME_DID_REPLY] = &did_object,
                                              [FRAME_EVENT] = &station_event_object,  [FRAME_SAFE_DONE] = &station_event_object};

static enum code body_read(const struct frame *f, struct tp_error *err)
{
        const struct object *o = f->kind < sizeof bodies / sizeof bodies[0] ? bodies[f->kind] : NULL;
        struct arena *arena = arena_new(0);
        enum code code = CODE_OK;
        if (o) {
                void *ret = arena_take(arena, o->bytes);
                code = fields_read_text(o, text_of(&f->body), f->body.n, arena, ret, err);
        }
        arena_free(arena);
        return code;
}
static enum code parse(const char *bytes, size_t n, struct tp_error *err)
{
        struct frame f;
        size_t used = 0;
        frame_init(&f);
        enum code code = frame_parse(bytes, n, &used, &f, err);
        if (!code && (used < FRAME_HEADER_BYTES || used > n || f.body.n != used - FRAME_HEADER_BYTES))
                fuzz_broken("more bytes were eaten than there are");
        if (!code)
                code = body_read(&f, err);
        frame_done(&f);
        return code;
}

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        enum code code = parse(bytes, n, err);
        if (n >= FRAME_HEADER_BYTES) { /* once more, as a sender with a right checksum */
                struct tp_error other = {0};
                struct text t;
                uint32_t epoch = 0;
                uint64_t step = 0;
                memcpy(&epoch, bytes + 8, 4);
                memcpy(&step, bytes + 16, 8);
                text_init(&t, 0);
                frame_build(&t, (uint8_t)(bytes[5] % (FRAME_STATUS + 3)), epoch, step, bytes + FRAME_HEADER_BYTES, n - FRAME_HEADER_BYTES);
                enum code second = parse(text_of(&t), t.n, &other);
                text_done(&t);
                if (second && (second != other.code || !other.text[0]))
                        fuzz_broken("a body is refused without a sentence");
        }
        return code;
}
