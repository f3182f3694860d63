/* desk.h: commands on their way: written down, handed to the loop, answered, and answered the same when asked again. */
#ifndef TIPPLANE_API_DESK_H
#define TIPPLANE_API_DESK_H
#include "api/api.h"

#define ORDER_WAIT_NS (INT64_C(2) * NS_PER_S) /* then 202 */
/* Submits and waits for the commit (at most 10 s).  *ret_duplicate may be NULL. */
enum code desk_store(struct desk *, struct work *take, bool *ret_duplicate, struct tp_error *);
/* Audit row of this request. */
void desk_audit(const struct request *, struct work *, const char *what, const char *target, const char *result);
/* Keyed command: the request becomes a command row and an audit row, then `take` goes to the loop.  The reply is `ok_status` with the
   loop's JSON, a problem, or 202 when the loop has not answered in time; the same key gets the same again. */
enum code desk_order(struct request *, struct reply *, struct command *take, const char *what, int ok_status, struct tp_error *);
/* As desk_order without store and key. */
enum code desk_urgent(struct request *, struct reply *, struct command *take, struct tp_error *);
/* NULL: memory.  Person and reason of the request. */
struct command *desk_command(const struct request *, enum command_kind, const char *why, struct tp_error *);

#endif
