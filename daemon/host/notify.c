#include "host/notify.h"
#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

bool notify_send(const char *state)
{
        const char *path = getenv("NOTIFY_SOCKET");
        struct sockaddr_un to = {.sun_family = AF_UNIX};
        size_t n = path ? strlen(path) : 0;
        if (n < 2 || n >= sizeof to.sun_path || (path[0] != '/' && path[0] != '@'))
                return false;
        memcpy(to.sun_path, path, n);
        if (path[0] == '@') /* a name in the abstract namespace begins with NUL */
                to.sun_path[0] = 0;
        int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
        if (fd < 0)
                return false;
        socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + n);
        bool is_sent =
                sendto(fd, state, strlen(state), MSG_NOSIGNAL | MSG_DONTWAIT, (const struct sockaddr *)&to, size) == (ssize_t)strlen(state);
        close(fd);
        return is_sent;
}
