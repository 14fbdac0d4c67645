#include "say.h"

#include "cowitness.h"

void say(const char *text)
{
    platform_write(text);
}

/* With at least so many digits. */
static void say_digits(uint64_t number, unsigned digits)
{
    char text[24];
    unsigned at = sizeof text - 1u;

    text[at] = '\0';
    do {
        at -= 1u;
        text[at] = (char)('0' + (char)(number % 10u));
        number /= 10u;
        digits -= digits > 0u ? 1u : 0u;
    } while (number > 0u || digits > 0u);
    say(text + at);
}

static uint64_t say_sign(int64_t number)
{
    if (number >= 0) {
        return (uint64_t)number;
    }
    say("-");
    return ~(uint64_t)number + 1u;
}

void say_number(int64_t number)
{
    say_digits(say_sign(number), 1u);
}

void say_checksum(uint32_t number)
{
    char text[9];

    text[8] = '\0';
    for (unsigned at = 8u; at > 0u; at -= 1u) {
        text[at - 1u] = "0123456789abcdef"[number & 15u];
        number >>= 4;
    }
    say(text);
}

void say_fixed(int64_t raw)
{
    const uint64_t size = say_sign(raw);
    const uint64_t fraction = size & ((1u << CW_FRACTION_BITS) - 1u);

    say_digits(size >> CW_FRACTION_BITS, 1u);
    say(".");
    say_digits((fraction * 1000000u) >> CW_FRACTION_BITS, 6u);
}
