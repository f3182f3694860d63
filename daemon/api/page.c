/* page.c: serves the table of embedded files. */
#include "api/page.h"
#include "api/problem.h"
#include "api/route.h"
#include <string.h>

static void serve(struct request *q, struct reply *r, const char *name)
{
        for (size_t i = 0; i < page_file_n; i++) {
                const struct page_file *f = &page_files[i];
                if (strcmp(f->name, name) != 0)
                        continue;
                if (reply_unchanged(q, r, f->sha256))
                        return;
                r->status = 200;
                r->type = f->type;
                r->still = f->bytes;
                r->still_n = f->n;
                r->is_page = strncmp(f->type, "text/html", 9) == 0;
                return;
        }
        problem_say(q, r, PROBLEM_NO_ROUTE, "the page has no file %.60s; it begins at /", name);
}

bool page_now(struct request *q, struct reply *r)
{
        serve(q, r, "index.html");
        return true;
}

bool page_file_now(struct request *q, struct reply *r)
{
        serve(q, r, q->param[0]);
        return true;
}

bool openapi_now(struct request *q, struct reply *r)
{
        serve(q, r, "openapi.yaml");
        return true;
}
