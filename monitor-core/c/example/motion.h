/* The motion of the example: an axis with a sensor on the motor and one on the rail, and a door. */
#ifndef MOTION_H
#define MOTION_H

#include <stdbool.h>
#include <stdint.h>

#include "cowitness.h"

/* Frames follow one another every millisecond. */
#define MOTION_FRAMES 900u

typedef struct {
    uint32_t frame;
    /* In mm/s, as the drive has it at this frame. */
    uint32_t speed;
    /* In counts: 2000 per mm on the motor, 1000 per mm on the rail. */
    uint32_t motor;
    uint32_t rail;
} motion;

/* What the safety part is shown at the frame. */
void motion_show(const motion *at, cw_frame *frame);

/* One frame further. Without permit the drive has no torque, and the axis runs out. */
void motion_go_on(motion *at, bool permit);

#endif
