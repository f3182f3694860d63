/* Who holds a connection without asking is shown the door; who asks, or is being answered, is not. */
#include "api_help.h"
#include "api/crowd.h"
#include <sys/socket.h>

static bool is_open(int fd)
{
        char c;
        return recv(fd, &c, 1, MSG_DONTWAIT | MSG_PEEK) < 0; /* would block; 0 is the end */
}

static void the_late_are_shut_and_the_served_are_not(void **state)
{
        struct tp_error err = {0};
        struct world *w = host_world_new(&err);
        struct crowd *crowd = crowd_new(w);
        int pair[3][2];
        struct guest *guest[3];
        (void)state;
        for (int i = 0; i < 3; i++) {
                assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM, 0, pair[i]), 0);
                assert_non_null(guest[i] = guest_come(crowd, pair[i][0]));
        }
        int64_t now = world_boot_ns(w);
        guest_served(guest[1], true); /* asks for something long: a stream */
        guest_served(guest[2], true);
        guest_served(guest[2], false); /* has its reply, and says nothing more */
        assert_int_equal(crowd_sweep(crowd, now + CROWD_NS - NS_PER_S), 0);
        assert_true(is_open(pair[0][1]) && is_open(pair[2][1]));
        assert_int_equal(crowd_sweep(crowd, now + CROWD_NS + NS_PER_S), 2);
        assert_false(is_open(pair[0][1]));
        assert_true(is_open(pair[1][1]));
        assert_false(is_open(pair[2][1]));
        assert_int_equal(crowd_sweep(crowd, now + 2 * CROWD_NS), 0); /* once is enough */
        for (int i = 2; i >= 0; i--) {
                guest_leave(guest[i]);
                close(pair[i][0]);
                close(pair[i][1]);
        }
        guest_leave(NULL);
        guest_served(NULL, true);
        crowd_free(crowd);
        host_world_free(w);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(the_late_are_shut_and_the_served_are_not)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
