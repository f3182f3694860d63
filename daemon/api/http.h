/* http.h: the door: libmicrohttpd and its tasks.  One thread speaks HTTP and answers from memory, two read the store, one carries commands,
   one carries `safe` alone, one feeds event streams.  Loopback addresses only, since there is no TLS. */
#ifndef TIPPLANE_API_HTTP_H
#define TIPPLANE_API_HTTP_H
#include "base/log.h"
#include "run/house.h"

struct http;
struct http_setup {
        const struct world *world;
        const struct log *log;
        struct house *house;
        const char *listen; /* "127.0.0.1:8080", "[::1]:8080"; port 0: any, see http_port.  A socket handed over by the service manager goes
                               first */
        const char *build;
        const char *station_address;
};
/* NULL: err says why.  The house outlives the door. */
struct http *http_start(const struct http_setup *, struct tp_error *);
unsigned http_port(const struct http *);
/* From now on changes get 503; reading and streams go on. */
void http_refuse_changes(struct http *);
/* Ends streams, lets open requests finish (5 s), closes.  NULL is fine. */
void http_stop(struct http *);
/* The table of routes as JSON on stdout. */
bool http_print_routes(void);

#endif
