/* multiport_json_own.h: what the files share that write and read error terms of several ports (multiport_json.h).  Not for other rooms. */
#ifndef TIPPLANE_FORMATS_MULTIPORT_JSON_OWN_H
#define TIPPLANE_FORMATS_MULTIPORT_JSON_OWN_H
#include "formats/multiport_json.h"
#include "formats/terms_json_own.h"

extern const char *const multiport_term_words[MULTIPORT_TERM_COUNT]; /* "ED", "ES", "ER", "K"; of port 1 all but K */
extern const char *const multiport_port_words[RF_PORTS_MAX];         /* "port_1" … */

/* multiport_json_causes.c: as their namesakes of two ports. */
enum code multiport_causes_check(const struct multiport_terms *, const struct multiport_causes *, struct tp_error *);
void multiport_causes_out(struct json_out *, const struct multiport_terms *, const struct multiport_causes *);
enum code multiport_causes_in(const cJSON *json, const struct multiport_terms *, bool has_switch, struct arena *,
                              struct multiport_causes **ret, struct tp_error *);

#endif
