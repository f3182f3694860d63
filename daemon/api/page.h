/* page.h: the page, compiled into the program: no path, no traversal, nothing to install. */
#ifndef TIPPLANE_API_PAGE_H
#define TIPPLANE_API_PAGE_H
#include <stddef.h>

struct page_file {
        const char *name, *type, *sha256;
        const unsigned char *bytes;
        size_t n;
};
extern const struct page_file page_files[]; /* generated: build/VARIANT/page_files.c by daemon/api/page_files.sh */
extern const size_t page_file_n;

#endif
