/* network.c: the corrected, and if asked de-embedded, network of a sweep as columns and as Touchstone text.
 * Reference   Touchstone knows real impedances only.  Data in a line's own impedance are written with R 1 and say so in a comment; nothing
 * is called 50 ohm that is not. */
#include "evaluate/chain.h"
#include "formats/touchstone.h"
#include <math.h>
#include <string.h>

enum code chain_network(const struct chain_question *q, bool deembedded, struct arena *arena, double *ret_re[4], double *ret_im[4],
                        struct tp_error *err)
{
        struct chain ch;
        struct measure bare = *q->measure;
        struct chain_question ask = *q;
        if (!deembedded) {
                bare.deembed = DEEMBED_NONE;
                ask.measure = &bare;
        }
        enum code code = chain_open(&ask, arena, &ch, err);
        if (code)
                return code;
        for (int k = 0; k < 4; k++)
                if (!(ret_re[k] = arena_take(arena, net2_stride(q->raw->n) * sizeof(double))) ||
                    !(ret_im[k] = arena_take(arena, net2_stride(q->raw->n) * sizeof(double))))
                        return tp_fail_memory(err);
        for (size_t j = 0; j < q->raw->n; j++) {
                struct trio t = chain_point(&ch, j);
                struct m2 s = chain_deembed(&ch, &t);
                for (int k = 0; k < 4; k++) {
                        ret_re[k][j] = creal(s.e[k]);
                        ret_im[k][j] = cimag(s.e[k]);
                }
        }
        return CODE_OK;
}

/* "taken away: open and short dummies (pads outside, leads inside)" */
static void say_taken_away(const struct measure *m, struct text *to)
{
        const struct rf_deembed_row *row = &rf_deembed_methods[m ? deembed_rf(m->deembed) : RF_DEEMBED_UNKNOWN];
        unsigned left = row->wants;
        text_put(to, "taken away: ");
        if (!row->word) {
                text_put(to, "nothing");
                return;
        }
        for (int k = 1; k < RF_DUMMY_COUNT; k++) {
                if (!((left >> k) & 1u))
                        continue;
                left &= ~(1u << k);
                text_f(to, "%s%s", rf_dummy_words[k], !left ? "" : left & (left - 1) ? ", " : " and ");
        }
        text_f(to, " dumm%s; %s", row->wants & (row->wants - 1) ? "ies" : "y", row->say);
}

enum code chain_touchstone(const struct chain_question *q, bool deembedded, const char *const *comments, size_t comment_n, struct text *to,
                           struct tp_error *err)
{
        struct arena *arena = arena_new(0);
        struct text head;
        text_init(&head, 0);
        enum code code = arena ? CODE_OK : tp_fail_memory(err);
        struct axis axis;
        double *re[4], *im[4];
        if (!code)
                code = axis_of(q->raw->n, q->raw->hz, &axis, err);
        if (!code)
                code = chain_network(q, deembedded, arena, re, im, err);
        if (code)
                goto done;
        void *memory = arena_take(arena, net2_bytes(axis.n));
        if (!memory) {
                code = tp_fail_memory(err);
                goto done;
        }
        bool off = deembedded && q->measure->deembed != DEEMBED_NONE;
        struct net2 net = net2_at(memory, &axis, off ? PLANE_DEVICE : q->calibration->terms.plane);
        for (int k = 0; k < 4; k++) {
                memcpy(net.re[k], re[k], axis.n * sizeof(double));
                memcpy(net.im[k], im[k], axis.n * sizeof(double));
        }
        bool line = !(q->calibration->z_ref > 0);
        net2_set_z(&net, line ? NAN : q->calibration->z_ref, line ? NAN : 0);
        text_f(&head, "device %s, plane %s, calibrated by %s\n", q->measure->device, plane_words[net.plane], q->calibration->method);
        say_taken_away(off ? q->measure : NULL, &head);
        if (q->replayed)
                text_put(&head, "\nreplayed from recorded files: trust open");
        for (size_t k = 0; k < comment_n; k++)
                text_f(&head, "\n%s", comments[k]);
        struct touchstone_write how = {.comments = text_of(&head), .line_reference = line};
        code = text_ok(&head) ? touchstone_write2(&net, &how, to, err) : tp_fail_memory(err);
done:
        text_done(&head);
        arena_free(arena);
        return code;
}
