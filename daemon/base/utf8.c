#include "base/utf8.h"

size_t utf8_step(const char *at, size_t n, uint32_t *ret_point)
{
        static const uint32_t least[5] = {0, 0, 0x80, 0x800, 0x10000};
        if (n == 0)
                return 0;
        uint8_t lead = (uint8_t)at[0];
        if (lead < 0x80) {
                *ret_point = lead;
                return 1;
        }
        size_t length = lead >= 0xF0 && lead < 0xF8 ? 4 : lead >= 0xE0 && lead < 0xF0 ? 3 : lead >= 0xC0 && lead < 0xE0 ? 2 : 0;
        if (length == 0 || length > n)
                return 0;
        uint32_t point = lead & (0x7Fu >> length);
        for (size_t i = 1; i < length; i++) {
                if (((uint8_t)at[i] & 0xC0) != 0x80)
                        return 0;
                point = point << 6 | ((uint8_t)at[i] & 0x3F);
        }
        if (point < least[length] || point > 0x10FFFF || (point >= 0xD800 && point <= 0xDFFF))
                return 0;
        *ret_point = point;
        return length;
}
