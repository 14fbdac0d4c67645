/* A safety loop: load the sealed setup, show the axis every frame, let the permit and nothing else hold the torque. */
#include "axis_image.h"
#include "cowitness.h"
#include "motion.h"
#include "say.h"

static cw_axis_storage storage;

static int refused(const char *what, cw_status status)
{
    say(what);
    say(": ");
    say(cw_status_text(status));
    say("\n");
    return 1;
}

static void say_named(const char *name, int64_t number)
{
    say(name);
    say_number(number);
}

static void say_quantity(const char *name, int64_t raw)
{
    say(name);
    say_fixed(raw);
    say_named(" (raw ", raw);
    say(")");
}

/* By CW_QUANTITY_ value. */
static const char *const quantities[] = {" ns, travel ", " ns, speed ", " ns, acceleration ",
                                         " ns, overrun ", " ns, value "};

static int say_trips(const cw_axis *axis)
{
    cw_trip trip;
    cw_status status;

    for (uint32_t place = 0; (status = cw_axis_trip_at(axis, place, &trip)) == CW_OK; place += 1u) {
        say_named("  rule ", trip.rule);
        say_named(" monitor ", trip.monitor);
        say(trip.channel == CW_CHANNEL_A ? " channel A" : " channel B");
        say_named(": demanded at ", (int64_t)trip.demanded_at);
        say_named(" ns, violated since ", (int64_t)trip.violated_since);
        say_named(" ns, tripped at ", (int64_t)trip.tripped_at);
        say_quantity(trip.quantity <= CW_QUANTITY_VALUE ? quantities[trip.quantity] : " ns, unknown ",
                     trip.observed);
        say_quantity(trip.side == CW_SIDE_BELOW ? " below " : " above ", trip.limit);
        say_quantity(" by ", trip.excess);
        say("\n");
    }
    return status == CW_STATUS_NO_TRIP ? 0 : refused("trips", status);
}

/* What can be asked at any time. */
static int say_motion(const cw_axis *axis)
{
    int64_t speed;
    int64_t position;
    int64_t distance;
    cw_status status = cw_axis_speed(axis, CW_CHANNEL_A, &speed);

    if (status == CW_OK) {
        status = cw_axis_position(axis, CW_CHANNEL_B, &position);
    }
    if (status == CW_OK) {
        status = cw_axis_distance(axis, &distance);
    }
    if (status != CW_OK) {
        return refused("motion", status);
    }
    say_quantity("  speed of A ", speed);
    say_quantity(", position of B ", position);
    say_quantity(", apart ", distance);
    say("\n");
    return 0;
}

static int run(cw_axis *axis)
{
    motion at = {0, 0, 0, 0};
    bool permit = false;
    int failed = 0;

    while (at.frame < MOTION_FRAMES) {
        cw_frame frame;
        cw_outcome outcome;
        cw_status status;

        motion_show(&at, &frame);
        status = cw_axis_step(axis, &frame, &outcome);
        if (status != CW_OK) {
            failed |= refused("step", status);
        }
        if (outcome.permit != permit) {
            say_named("frame ", at.frame);
            say(outcome.permit ? ": permit\n" : ": no permit\n");
        }
        if (outcome.reset != CW_RESET_NONE) {
            say_named("frame ", at.frame);
            say(": reset ");
            say(cw_reset_text(outcome.reset));
            say("\n");
        }
        if (outcome.tripped_a != 0 || outcome.tripped_b != 0) {
            say_named("frame ", at.frame);
            say(": trip\n");
            failed |= say_trips(axis);
            failed |= say_motion(axis);
        }
        permit = outcome.permit;
        motion_go_on(&at, permit);
    }
    return failed;
}

int main(void)
{
    cw_axis *axis;
    cw_info info;
    cw_status status;

    /* The second differs when only one of the two was made for a small axis. */
    if (cw_interface_version() != CW_INTERFACE_VERSION || cw_axis_size() != CW_AXIS_SIZE) {
        say("header and library are not of one kind\n");
        return 1;
    }
    status = cw_axis_load(&storage, sizeof storage, axis_image, sizeof axis_image, &axis);
    if (status != CW_OK) {
        return refused("load", status);
    }
    status = cw_axis_info(axis, &info);
    if (status != CW_OK) {
        return refused("info", status);
    }
    /* As on the review sheet, to be held against it. */
    say("image ");
    say_checksum(info.image_checksum);
    say(", setup ");
    say_checksum(info.setup_checksum);
    say_named(", monitors ", info.monitors);
    say_named(", inputs ", info.inputs);
    say("\n");
    return run(axis);
}
