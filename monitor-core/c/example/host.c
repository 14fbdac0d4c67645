#include <stdio.h>

#include "say.h"

void platform_write(const char *text)
{
    fputs(text, stdout);
}
