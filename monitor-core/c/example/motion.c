#include "motion.h"

#define DOOR_OPENS 250u
#define DOOR_CLOSES 700u
#define RESET_PRESSED 800u
#define RESET_RELEASED 820u
/* The drive is told to run faster although the door is open: the mistake that the example is about. */
#define SPEEDS_UP 300u

void motion_show(const motion *at, cw_frame *frame)
{
    const bool closed = at->frame < DOOR_OPENS || at->frame >= DOOR_CLOSES;
    const bool pressed = at->frame >= RESET_PRESSED && at->frame < RESET_RELEASED;

    frame->now = (uint64_t)at->frame * 1000000u;
    frame->a.kind = CW_SAMPLE_COUNT;
    frame->a.captured_at = frame->now;
    frame->a.count = at->motor;
    frame->b.kind = CW_SAMPLE_COUNT;
    frame->b.captured_at = frame->now;
    frame->b.count = at->rail;
    /* Lines 0 and 1 are the two contacts of the door, high while it is closed; line 2 is the reset. */
    frame->levels = (closed ? 3u : 0u) | (pressed ? 4u : 0u);
}

void motion_go_on(motion *at, bool permit)
{
    /* At rest at first. */
    if (at->frame >= 20u && at->frame < DOOR_CLOSES) {
        const uint32_t wanted = at->frame < SPEEDS_UP ? 200u : 400u;

        if (!permit) {
            at->speed -= at->speed < 2u ? at->speed : 2u;
        } else if (at->speed < wanted) {
            at->speed += 1u;
        }
    }
    at->motor += at->speed * 2u;
    at->rail += at->speed;
    at->frame += 1u;
}
