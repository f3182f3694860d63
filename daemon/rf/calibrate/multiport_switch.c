/* multiport_switch.c: what each port of an analyzer reflects while another one is driven, from the switch terms of pairs (multiport.h).
 * Believed    the port's termination is the same whichever other port is driven; where pairs say otherwise, that is the disagreement. */
#include "rf/calibrate/multiport.h"

enum code rf_multiport_switch(const struct pair_terms *pairs, const struct switch_terms *const *sw, size_t pair_n, unsigned ports,
                              struct port_switch *out, double *ret_disagreement, struct tp_error *err)
{
        unsigned seen[RF_PORTS_MAX] = {0};
        for (size_t k = 0; k < pair_n; k++) {
                if (!sw[k] || !axis_equal(sw[k]->axis, sw[0]->axis))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "calibration %zu (ports %u and %u) has %s; all pairs need their switch terms on one list of frequencies",
                                k + 1, pairs[k].p + 1, pairs[k].q + 1, sw[k] ? "switch terms at other frequencies" : "no switch terms");
                seen[pairs[k].p]++;
                seen[pairs[k].q]++;
        }
        for (unsigned p = 0; p < ports; p++)
                if (!seen[p])
                        return tp_fail(err, CODE_BAD_INPUT, "no pair of ports says what port %u reflects", p + 1);
        for (size_t i = 0; i < sw[0]->axis->n; i++) {
                double complex mean[RF_PORTS_MAX] = {0};
                double worst = 0;
                for (int round = 0; round < 2; round++) /* mean, then distance from it */
                        for (size_t k = 0; k < pair_n; k++) {
                                double complex of_q = CMPLX(sw[k]->f_re[i], sw[k]->f_im[i]), of_p = CMPLX(sw[k]->r_re[i], sw[k]->r_im[i]);
                                if (round == 0) {
                                        mean[pairs[k].q] += of_q / seen[pairs[k].q];
                                        mean[pairs[k].p] += of_p / seen[pairs[k].p];
                                        continue;
                                }
                                const double off[2] = {cabs(of_q - mean[pairs[k].q]), cabs(of_p - mean[pairs[k].p])};
                                for (int side = 0; side < 2; side++)
                                        worst = off[side] <= worst ? worst : off[side]; /* NaN wins */
                        }
                for (unsigned p = 0; p < ports; p++) {
                        out->re[p][i] = creal(mean[p]);
                        out->im[p][i] = cimag(mean[p]);
                }
                if (ret_disagreement)
                        ret_disagreement[i] = worst;
        }
        return CODE_OK;
}
