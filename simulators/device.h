/* device.h: one device on the wafer as it truly is, between the inner edges of its pads, and the same seen from the probes' tips.
   Truth means: the network that ideal open-short de-embedding would return.  Elements in SI units.

     inductor   (R sqrt(1 + jf/fs) + jwL) || Cp between the ports; at each port Cox in series with (Rsub || Csub) to ground
     capacitor  C (1 + vc1 V + vc2 V^2)(1 - j tan) in series with R and L; two plates turned against each other, so Cox + (Rsub || Csub)
                to ground is alike at both ports
     resistor   jwL in series with (R || Cp); Cox in series with Rsub to ground at each port
     line       R' sqrt(1 + jf/fs), L', C'(1 - j tan) over length_m
     transistor inside Cgs (c_f) in series with Ri, Cgd (cp_f), gm turned by tau, Rds (rsub_ohm) || Cds (csub_f); around it R and L of gate
                (r_ohm, l_h), drain (rd_ohm, ld_h) and source (rs_ohm, ls_h).  With k_s_v it obeys its bias: below the threshold the
                channel is gone and the gate has two edges of Cgd alike; without drain voltage the channel is a resistance of
                1/(k (Vg - Vth)) under a gate of (Cgs + Cgd)/2 to each end; else, and without k_s_v, it amplifies as designed.
                No current at DC
     bipolar    a transistor with beta: by its bias, with currents at DC (bipolar.c).  c_f, cp_f, csub_f: depletion of base-emitter, of the
                inner base-collector, collector to emitter; cx_f: outer base-collector, in front of ri_ohm; leads of base (r_ohm outer,
                ri_ohm inner, l_h), collector (rd_ohm, ld_h) and emitter (rs_ohm, ls_h)
     open       nothing;  short: 1 micro-ohm at each port;  ladder: R1 and R2 to ground
   Pure. */
#ifndef TIPPLANE_SIMULATORS_DEVICE_H
#define TIPPLANE_SIMULATORS_DEVICE_H
#include "simulators/admittance.h"
#include "wafer/layout.h"

enum defect_kind { DEFECT_UNKNOWN, DEFECT_NONE, DEFECT_SHORT, DEFECT_OPEN, DEFECT_PARTIAL_VIA };
extern const char *const defect_words[];

struct sim_device {
        char name[32];
        int32_t die_x, die_y, kind; /* enum device_kind */
        double r_ohm, l_h, c_f;     /* of a line per metre; of a ladder r_ohm and r2_ohm */
        double r2_ohm, cp_f, skin_hz, tan_delta, cox_f, rsub_ohm, csub_f, vc1, vc2, length_m, gm_s;
        double ri_ohm, tau_s, rd_ohm, ld_h, rs_ohm, ls_h, vth_v, k_s_v; /* of a transistor */
        double beta, beta_r, is_a, tf_s, tr_s, early_v, cx_f;           /* of a bipolar one; beta 0: it is none */
        int32_t defect;                                                 /* enum defect_kind */
        double defect_ohm;                                              /* of a short or of a partial via */
};
extern const struct object sim_device_object;

/* What each port is biased with, against ground. */
struct sim_bias {
        double volt[2];   /* set; where a current is held, its limit */
        double ampere[2]; /* held, if held; 0: an open terminal */
        bool held[2];
};
/* The true two-port at hz > 0. */
struct y2 device_biased_y(const struct sim_device *, double hz, const struct sim_bias *);
static inline struct y2 device_y(const struct sim_device *d, double hz, double volt) /* volt across it */
{
        return device_biased_y(d, hz, &(struct sim_bias){.volt = {volt, 0}});
}
/* transistor.c: without and with its leads. */
struct y2 transistor_inside_y(const struct sim_device *, double hz, const struct sim_bias *);
struct y2 transistor_y(const struct sim_device *, double hz, const struct sim_bias *);
/* bipolar.c: npn, emitter grounded.  At DC: currents into the ports and where the ports then stand. */
static inline bool is_bipolar(const struct sim_device *d) { return d->kind == DEVICE_TRANSISTOR && d->beta > 0; }
struct bipolar_dc {
        double forward_a, reverse_a; /* transport currents of the junctions */
        double base_a, collector_a, junction_v, volt[2];
};
struct bipolar_dc bipolar_dc(const struct sim_device *, const struct sim_bias *);
struct y2 bipolar_inside_y(const struct sim_device *, double hz, const struct sim_bias *);
/* Resistances at DC, ohm: between the ports, each port to ground; HUGE_VAL where nothing conducts. */
void device_dc_ohm(const struct sim_device *, double *ret_series, double *ret_ground1, double *ret_ground2);

/* What stands between tip and device, per port: coupled weakly to the other port. */
struct sim_pads {
        double c_f[2], loss_ohm; /* pad to ground, and what it loses in the substrate */
        double l_h[2], r_ohm[2]; /* feed line */
        double feed_c_f[2];      /* the feed's own capacitance: what makes it distributed above about 60 GHz */
        int sections;            /* pieces of the feed, 1…8 */
        double coupling_f;       /* between the two pads */
};
struct y2 pads_around(const struct sim_pads *, struct y2 device, double hz);

#endif
