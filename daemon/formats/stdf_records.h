/* stdf_records.h: the records of STDF V4 that Tipplane knows, each with its fields in the order of the file.  Only for stdf.h and stdf.c,
   which make structs and tables of it, so that each field stands once.
     STDF_RECORDS(R)      R(name, NAME, REC_TYP, REC_SUB, how many of its fields must be there)
     STDF_FIELDS_…(F, r)  F(r, type, name, value that means "missing"), r being the record's name
   Source: the published STDF Specification, version V4. */
#ifndef TIPPLANE_FORMATS_STDF_RECORDS_H
#define TIPPLANE_FORMATS_STDF_RECORDS_H

/* clang-format off */
#define STDF_RECORDS(R) \
        R(far, FAR, 0, 10, 2)   /* file attributes: always first */ \
        R(atr, ATR, 0, 20, 2)   /* audit trail: what changed the file */ \
        R(mir, MIR, 1, 10, 13)  /* master information */ \
        R(mrr, MRR, 1, 20, 1)   /* master results: always last */ \
        R(pcr, PCR, 1, 30, 3)   /* part count */ \
        R(hbr, HBR, 1, 40, 4)   /* hardware bin */ \
        R(sbr, SBR, 1, 50, 4)   /* software bin */ \
        R(wir, WIR, 2, 10, 3)   /* a wafer begins */ \
        R(wrr, WRR, 2, 20, 4)   /* and its results */ \
        R(wcr, WCR, 2, 30, 0)   /* wafer configuration */ \
        R(pir, PIR, 5, 10, 2)   /* a part begins */ \
        R(prr, PRR, 5, 20, 5)   /* and its results */ \
        R(tsr, TSR, 10, 30, 4)  /* test synopsis */ \
        R(ptr, PTR, 15, 10, 5)  /* parametric test */

#define STDF_NO_U2 65535
#define STDF_NO_U4 4294967295u
#define STDF_NO_I2 (-32768)

#define STDF_FIELDS_FAR(F, r) \
        F(r, U1, cpu_type, 0) F(r, U1, stdf_ver, 0)

#define STDF_FIELDS_ATR(F, r) \
        F(r, U4, mod_tim, 0) F(r, Cn, cmd_line, 0)

#define STDF_FIELDS_MIR(F, r) \
        F(r, U4, setup_t, 0) F(r, U4, start_t, 0) F(r, U1, stat_num, 0) F(r, C1, mode_cod, ' ') F(r, C1, rtst_cod, ' ') \
        F(r, C1, prot_cod, ' ') F(r, U2, burn_tim, STDF_NO_U2) F(r, C1, cmod_cod, ' ') \
        F(r, Cn, lot_id, 0) F(r, Cn, part_typ, 0) F(r, Cn, node_nam, 0) F(r, Cn, tstr_typ, 0) F(r, Cn, job_nam, 0) \
        F(r, Cn, job_rev, 0) F(r, Cn, sblot_id, 0) F(r, Cn, oper_nam, 0) F(r, Cn, exec_typ, 0) F(r, Cn, exec_ver, 0) \
        F(r, Cn, test_cod, 0) F(r, Cn, tst_temp, 0) F(r, Cn, user_txt, 0) F(r, Cn, aux_file, 0) F(r, Cn, pkg_typ, 0) \
        F(r, Cn, famly_id, 0) F(r, Cn, date_cod, 0) F(r, Cn, facil_id, 0) F(r, Cn, floor_id, 0) F(r, Cn, proc_id, 0) \
        F(r, Cn, oper_frq, 0) F(r, Cn, spec_nam, 0) F(r, Cn, spec_ver, 0) F(r, Cn, flow_id, 0) F(r, Cn, setup_id, 0) \
        F(r, Cn, dsgn_rev, 0) F(r, Cn, eng_id, 0) F(r, Cn, rom_cod, 0) F(r, Cn, serl_num, 0) F(r, Cn, supr_nam, 0)

#define STDF_FIELDS_MRR(F, r) \
        F(r, U4, finish_t, 0) F(r, C1, disp_cod, ' ') F(r, Cn, usr_desc, 0) F(r, Cn, exc_desc, 0)

#define STDF_FIELDS_PCR(F, r) /* head_num 255: of all heads */ \
        F(r, U1, head_num, 0) F(r, U1, site_num, 0) F(r, U4, part_cnt, 0) F(r, U4, rtst_cnt, STDF_NO_U4) \
        F(r, U4, abrt_cnt, STDF_NO_U4) F(r, U4, good_cnt, STDF_NO_U4) F(r, U4, func_cnt, STDF_NO_U4)

#define STDF_FIELDS_HBR(F, r) /* hbin_pf: P, F or blank */ \
        F(r, U1, head_num, 0) F(r, U1, site_num, 0) F(r, U2, hbin_num, 0) F(r, U4, hbin_cnt, 0) F(r, C1, hbin_pf, ' ') \
        F(r, Cn, hbin_nam, 0)

#define STDF_FIELDS_SBR(F, r) \
        F(r, U1, head_num, 0) F(r, U1, site_num, 0) F(r, U2, sbin_num, 0) F(r, U4, sbin_cnt, 0) F(r, C1, sbin_pf, ' ') \
        F(r, Cn, sbin_nam, 0)

#define STDF_FIELDS_WIR(F, r) /* site_grp 255: none */ \
        F(r, U1, head_num, 0) F(r, U1, site_grp, 255) F(r, U4, start_t, 0) F(r, Cn, wafer_id, 0)

#define STDF_FIELDS_WRR(F, r) \
        F(r, U1, head_num, 0) F(r, U1, site_grp, 255) F(r, U4, finish_t, 0) F(r, U4, part_cnt, 0) \
        F(r, U4, rtst_cnt, STDF_NO_U4) F(r, U4, abrt_cnt, STDF_NO_U4) F(r, U4, good_cnt, STDF_NO_U4) \
        F(r, U4, func_cnt, STDF_NO_U4) F(r, Cn, wafer_id, 0) F(r, Cn, fabwf_id, 0) F(r, Cn, frame_id, 0) \
        F(r, Cn, mask_id, 0) F(r, Cn, usr_desc, 0) F(r, Cn, exc_desc, 0)

#define STDF_FIELDS_WCR(F, r) /* wf_units: 1 in, 2 cm, 3 mm, 4 mil; wf_flat, pos_x, pos_y: U D L R */ \
        F(r, R4, wafr_siz, 0) F(r, R4, die_ht, 0) F(r, R4, die_wid, 0) F(r, U1, wf_units, 0) F(r, C1, wf_flat, ' ') \
        F(r, I2, center_x, STDF_NO_I2) F(r, I2, center_y, STDF_NO_I2) F(r, C1, pos_x, ' ') F(r, C1, pos_y, ' ')

#define STDF_FIELDS_PIR(F, r) \
        F(r, U1, head_num, 0) F(r, U1, site_num, 0)

#define STDF_FIELDS_PRR(F, r) /* test_t: ms */ \
        F(r, U1, head_num, 0) F(r, U1, site_num, 0) F(r, B1, part_flg, 0) F(r, U2, num_test, 0) F(r, U2, hard_bin, 0) \
        F(r, U2, soft_bin, STDF_NO_U2) F(r, I2, x_coord, STDF_NO_I2) F(r, I2, y_coord, STDF_NO_I2) F(r, U4, test_t, 0) \
        F(r, Cn, part_id, 0) F(r, Cn, part_txt, 0) F(r, Bn, part_fix, 0)

#define STDF_FIELDS_TSR(F, r) /* test_typ: P parametric */ \
        F(r, U1, head_num, 0) F(r, U1, site_num, 0) F(r, C1, test_typ, ' ') F(r, U4, test_num, 0) F(r, U4, exec_cnt, STDF_NO_U4) \
        F(r, U4, fail_cnt, STDF_NO_U4) F(r, U4, alrm_cnt, STDF_NO_U4) F(r, Cn, test_nam, 0) F(r, Cn, seq_name, 0) \
        F(r, Cn, test_lbl, 0) F(r, B1, opt_flag, 0) F(r, R4, test_tim, 0) F(r, R4, test_min, 0) F(r, R4, test_max, 0) \
        F(r, R4, tst_sums, 0) F(r, R4, tst_sqrs, 0)

#define STDF_FIELDS_PTR(F, r) /* result and limits in base units; res_scal 9 asks a reader to show nano */ \
        F(r, U4, test_num, 0) F(r, U1, head_num, 0) F(r, U1, site_num, 0) F(r, B1, test_flg, 0) F(r, B1, parm_flg, 0) \
        F(r, R4, result, 0) F(r, Cn, test_txt, 0) F(r, Cn, alarm_id, 0) F(r, B1, opt_flag, 0) F(r, I1, res_scal, 0) \
        F(r, I1, llm_scal, 0) F(r, I1, hlm_scal, 0) F(r, R4, lo_limit, 0) F(r, R4, hi_limit, 0) F(r, Cn, units, 0) \
        F(r, Cn, c_resfmt, 0) F(r, Cn, c_llmfmt, 0) F(r, Cn, c_hlmfmt, 0) F(r, R4, lo_spec, 0) F(r, R4, hi_spec, 0)
/* clang-format on */

#endif
