/* From reset to main, and out through the debugger, for a Cortex-M without an operating system. */
#include <stdint.h>

#include "../say.h"

int main(void);
void reset(void);

/* From the linker script. */
extern uint32_t stack_bottom[];
extern uint32_t stack_top[];
extern uint32_t data_load[];
extern uint32_t data_begin[];
extern uint32_t data_end[];
extern uint32_t bss_begin[];
extern uint32_t bss_end[];

/* Semihosting, operations of the published specification of Arm ("Semihosting for AArch32 and AArch64"; numbers from memory). */
#define SYS_WRITE0 0x04u
#define SYS_EXIT 0x18u
#define EXIT_FINE 0x20026u
#define EXIT_FAILED 0x20023u

static void debugger(uint32_t operation, uint32_t argument)
{
    register uint32_t r0 __asm__("r0") = operation;
    register uint32_t r1 __asm__("r1") = argument;

    __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
}

void platform_write(const char *text)
{
    debugger(SYS_WRITE0, (uint32_t)(uintptr_t)text);
}

static void leave(uint32_t why)
{
    for (;;) {
        debugger(SYS_EXIT, why);
    }
}

static void faulted(void)
{
    platform_write("processor fault\n");
    leave(EXIT_FAILED);
}

#define PAINT 0x5ca1ab1eu

/* Paints the stack below what is in use, but for a margin that this function may use itself. */
static void paint_stack(void)
{
    uint32_t here = 0;
    volatile uint32_t *end = (uint32_t *)((uintptr_t)&here - 128u);

    for (volatile uint32_t *to = stack_bottom; to < end; to += 1) {
        *to = PAINT;
    }
}

/* How much of the stack was ever used. */
static void say_stack(void)
{
    const volatile uint32_t *deepest = stack_bottom;

    while (deepest < stack_top && *deepest == PAINT) {
        deepest += 1;
    }
    say("stack ");
    say_number((intptr_t)stack_top - (intptr_t)deepest);
    say(" bytes\n");
}

void reset(void)
{
    int failed;
    const uint32_t *from = data_load;

    for (uint32_t *to = data_begin; to < data_end; to += 1) {
        *to = *from++;
    }
    for (uint32_t *to = bss_begin; to < bss_end; to += 1) {
        *to = 0;
    }
    paint_stack();
    failed = main();
    say_stack();
    leave(failed == 0 ? EXIT_FINE : EXIT_FAILED);
}

typedef void (*vector)(void);

/* Stack, reset, and the faults of the processor. */
__attribute__((section(".vectors"), used)) static const struct {
    uint32_t *stack;
    vector others[15];
} vectors = {
    stack_top,
    {reset, faulted, faulted, faulted, faulted, faulted, 0, 0, 0, 0, faulted, faulted, 0, faulted, faulted},
};
