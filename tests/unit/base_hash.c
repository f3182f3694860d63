/* Published vectors; each names its source. */
#include "base/hash.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

static void sha256_gives_the_published_digests(void **state)
{
        static const struct {
                const char *source, *text;
                size_t times;
                const char *digest;
        } known[] = {
                {"NIST CAVP SHA256ShortMsg, Len = 0", "", 1, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
                {"FIPS 180-4 examples, one block", "abc", 1, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
                {"FIPS 180-4 examples, two blocks", "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 1,
                 "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
                {"FIPS 180-2 appendix B.3, one million a", "a", 1000000,
                 "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"},
        };
        (void)state;
        for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
                struct sha256 s;
                uint8_t digest[32];
                char hex[65];
                sha256_init(&s);
                for (size_t j = 0; j < known[i].times; j++)
                        sha256_add(&s, known[i].text, strlen(known[i].text));
                sha256_end(&s, digest);
                hex_of(digest, sizeof digest, hex);
                assert_string_equal(hex, known[i].digest);
        }
}

static void any_split_gives_the_same_digest(void **state)
{
        uint8_t bytes[200], whole[32], split[32];
        (void)state;
        for (size_t i = 0; i < sizeof bytes; i++)
                bytes[i] = (uint8_t)(i * 7);
        for (size_t n = 0; n <= sizeof bytes; n++) {
                sha256_of(bytes, n, whole);
                for (size_t cut = 0; cut <= n; cut++) {
                        struct sha256 s;
                        sha256_init(&s);
                        sha256_add(&s, bytes, cut);
                        sha256_add(&s, bytes + cut, n - cut);
                        sha256_end(&s, split);
                        assert_memory_equal(whole, split, 32);
                        assert_int_equal(crc32c(crc32c(0, bytes, cut), bytes + cut, n - cut), crc32c(0, bytes, n));
                }
        }
}

static void crc32c_gives_the_published_values(void **state)
{
        uint8_t b[32];
        (void)state;
        memset(b, 0, sizeof b);
        assert_int_equal(crc32c(0, b, 32), 0x8a9136aa); /* RFC 3720, B.4: 32 bytes of zeroes, aa 36 91 8a */
        memset(b, 0xff, sizeof b);
        assert_int_equal(crc32c(0, b, 32), 0x62a8ab43); /* 32 bytes of ones, 43 ab a8 62 */
        for (size_t i = 0; i < 32; i++)
                b[i] = (uint8_t)i;
        assert_int_equal(crc32c(0, b, 32), 0x46dd794e); /* incrementing, 4e 79 dd 46 */
        for (size_t i = 0; i < 32; i++)
                b[i] = (uint8_t)(31 - i);
        assert_int_equal(crc32c(0, b, 32), 0x113fdb5c);          /* decrementing, 5c db 3f 11 */
        assert_int_equal(crc32c(0, "123456789", 9), 0xe3069283); /* the check value of CRC-32/ISCSI in Koopman's and Cook's catalogues */
        assert_int_equal(crc32c(0, NULL, 0), 0);
}

static void hash64_is_fnv1a(void **state) /* Fowler, Noll, Vo, Eastlake: draft-eastlake-fnv, test vectors */
{
        (void)state;
        assert_true(hash64("", 0) == UINT64_C(0xcbf29ce484222325));
        assert_true(hash64("a", 1) == UINT64_C(0xaf63dc4c8601ec8c));
        assert_true(hash64("foobar", 6) == UINT64_C(0x85944171f73967e8));
}

static void hex_wants_exactly_its_digits(void **state)
{
        uint8_t b[3] = {1, 2, 3};
        (void)state;
        assert_true(hex_read("00aBfF", b, 3));
        assert_memory_equal(b, "\x00\xab\xff", 3);
        assert_false(hex_read("00aBf", b, 3));
        assert_false(hex_read("00aBfF0", b, 3));
        assert_false(hex_read("00aBg0", b, 3));
        assert_memory_equal(b, "\x00\xab\xff", 3);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(sha256_gives_the_published_digests), cmocka_unit_test(any_split_gives_the_same_digest),
                cmocka_unit_test(crc32c_gives_the_published_values),  cmocka_unit_test(hash64_is_fnv1a),
                cmocka_unit_test(hex_wants_exactly_its_digits),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
