/* Printing with what a small target has. */
#ifndef SAY_H
#define SAY_H

#include <stdint.h>

/* Given by the platform: the host's standard output, or the debugger's. */
void platform_write(const char *text);

void say(const char *text);
void say_number(int64_t number);
/* Eight hexadecimal digits. */
void say_checksum(uint32_t number);
/* A number of 2^-24 with six decimals, cut off. */
void say_fixed(int64_t raw);

#endif
