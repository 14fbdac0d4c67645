/* Safety monitors for a servo axis that is watched by two independent position sources, for firmware in C.
 *
 * CAUTION. A reference and an analysis aid, not a certified safety component. Limits come from the machine's risk assessment;
 * local codes, the machine's own manuals and licensed practice decide.
 *
 * Made from the Rust source by monitor-core/c/tests/header.rs; what is changed here is lost. */

#ifndef COWITNESS_H
#define COWITNESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Once, at start: give it static storage and the sealed setup (made on a desk, see monitor_core::seal).
 *
 *     static cw_axis_storage storage;
 *     static cw_axis *axis;
 *     if (cw_interface_version() != CW_INTERFACE_VERSION || cw_axis_size() != CW_AXIS_SIZE ||
 *         cw_axis_load(&storage, sizeof storage, image, sizeof image, &axis) != CW_OK) { stay without torque }
 *
 * Then at every evaluation: fill in a cw_frame, call cw_axis_step, and let outcome.permit, nothing else, hold the torque. A
 * watchdog takes it away when the calls cease.
 *
 * Pointers: null and misaligned ones are refused. That any other points to what its type says, that sizes are true and that
 * storage lives as long as its axis is the caller's word; nothing here can find out. What is found out: storage never loaded,
 * loaded twice, copied, or overwritten at its beginning or end, also by a second axis in an overlapping piece of storage.
 * What is not: storage overwritten in between, and memory that was given up.
 *
 * Several axes are independent. Calls on one axis must not overlap in time: one from an interrupt within another is refused
 * with CW_STATUS_BUSY; on processors that cannot compare and swap, two threads or cores are not told apart.
 *
 * The library allocates nothing, calls nothing, keeps nothing outside the storage. */

#if defined(__GNUC__)
#define CW_MUST_USE __attribute__((warn_unused_result))
#else
#define CW_MUST_USE
#endif

/* What a position, distance or speed is set to when it is not known: never 0, which would look like standing still. */
#define CW_UNKNOWN INT64_MIN

/**
 * Changes when the functions or structures of this header do. Compare it at start with cw_interface_version(), and
 * CW_AXIS_SIZE with cw_axis_size(), which CW_SMALL changes: a difference means that header and library are not of one kind.
 */
#define CW_INTERFACE_VERSION 2

#if !defined(CW_SMALL)
/**
 * Stored readings per channel. An image must have been sealed for exactly so many.
 */
#define CW_POINTS 33
#endif

#if defined(CW_SMALL)
/**
 * Stored readings per channel. An image must have been sealed for exactly so many.
 */
#define CW_POINTS 17
#endif

#if !defined(CW_SMALL)
/**
 * The most monitors of an axis.
 */
#define CW_MONITORS 16
#endif

#if defined(CW_SMALL)
/**
 * The most monitors of an axis.
 */
#define CW_MONITORS 4
#endif

#if !defined(CW_SMALL)
/**
 * The most inputs of an axis, the reset aside.
 */
#define CW_INPUTS 16
#endif

#if defined(CW_SMALL)
/**
 * The most inputs of an axis, the reset aside.
 */
#define CW_INPUTS 2
#endif

#if !defined(CW_SMALL)
/**
 * How many words of 64 bits of storage an axis takes, the same on every target.
 */
#define CW_AXIS_WORDS 1536
#endif

#if defined(CW_SMALL)
/**
 * How many words of 64 bits of storage an axis takes, the same on every target.
 */
#define CW_AXIS_WORDS 640
#endif

/**
 * How many bytes that is.
 */
#define CW_AXIS_SIZE (CW_AXIS_WORDS * 8)

/**
 * The first source and everything computed from it.
 */
#define CW_CHANNEL_A 0

/**
 * The second source and everything computed from it.
 */
#define CW_CHANNEL_B 1

/**
 * The source has delivered nothing new since the frame before; its last reading stays and ages.
 */
#define CW_SAMPLE_NONE 1

/**
 * The counter as read, in `count`.
 */
#define CW_SAMPLE_COUNT 2

/**
 * The source marked its own reading as invalid; `count`, or `value`, is not looked at.
 */
#define CW_SAMPLE_INVALID 3

/**
 * An analogue value, in `value`.
 */
#define CW_SAMPLE_VALUE 4

/**
 * The channel can be seen.
 */
#define CW_FAULT_NONE 0

/**
 * The source marked its reading as invalid.
 */
#define CW_FAULT_INVALID 1

/**
 * Captured after `now`, before the reading before it, or at the same instant with another value.
 */
#define CW_FAULT_OUT_OF_ORDER 2

/**
 * The newest reading is older than the timeout, or the source was silent for longer than that.
 */
#define CW_FAULT_STALE 3

/**
 * The change is more than the mechanics can move.
 */
#define CW_FAULT_IMPLAUSIBLE 4

/**
 * A count, position, travel or speed left the range of its type.
 */
#define CW_FAULT_RANGE 5

/**
 * No reset was released at this frame.
 */
#define CW_RESET_NONE 0

/**
 * All latches are cleared.
 */
#define CW_RESET_ACCEPTED 1

/**
 * Refused: a channel is faulted, or has had no reading yet.
 */
#define CW_RESET_CHANNEL_FAULTED 2

/**
 * Refused: an active monitor is warming up.
 */
#define CW_RESET_WARMING_UP 3

/**
 * Refused: a monitor or a discrepancy is violated.
 */
#define CW_RESET_VIOLATED 4

/**
 * Refused: an input fault is present.
 */
#define CW_RESET_INPUT_FAULTED 5

/**
 * Refused: a rule needs a referenced position that a channel does not have.
 */
#define CW_RESET_UNREFERENCED 6

/**
 * Refused: a line of an analogue value is faulted, or has had no reading yet.
 */
#define CW_RESET_ANALOGUE_FAULTED 7

/**
 * Refused: a stop that a trip demands is not complete on both channels.
 */
#define CW_RESET_STOPPING 8

/**
 * Positions, travels, speeds and accelerations are counted in 2^-24 of the axis unit (mm or deg; of that unit per second, per second
 * squared): so many bits are behind the binary point.
 */
#define CW_FRACTION_BITS 24

/**
 * A monitor, on one channel.
 */
#define CW_RULE_MONITOR 0

/**
 * The positions of the two channels differ. Belongs to both channels.
 */
#define CW_RULE_POSITION_DISCREPANCY 1

/**
 * The speeds of the two channels differ. Belongs to both channels.
 */
#define CW_RULE_SPEED_DISCREPANCY 2

/**
 * The two lines of an analogue value differ.
 */
#define CW_RULE_ANALOGUE_DISCREPANCY 3

/**
 * The evidence is a travel, in 2^-24 of the axis unit.
 */
#define CW_QUANTITY_POSITION 0

/**
 * The evidence is a speed, in 2^-24 of the axis unit per second.
 */
#define CW_QUANTITY_SPEED 1

/**
 * The evidence is an acceleration, in 2^-24 of the axis unit per second squared.
 */
#define CW_QUANTITY_ACCELERATION 2

/**
 * The evidence is what was travelled beyond a limit on the speed, in 2^-24 of the axis unit.
 */
#define CW_QUANTITY_OVERRUN 3

/**
 * The evidence is an analogue value, in 2^-24 of its own unit.
 */
#define CW_QUANTITY_VALUE 4

/**
 * What was observed may not be above the limit.
 */
#define CW_SIDE_ABOVE 0

/**
 * What was observed may not be below the limit.
 */
#define CW_SIDE_BELOW 1

/**
 * A loaded axis. It lives in the storage it was loaded in, which must not be moved, copied, written to or given up meanwhile.
 */
typedef struct cw_axis cw_axis;

/**
 * What a call came to: CW_OK, or why it was refused. Not an enumeration, because compilers for small
 * targets differ in how large they make one.
 */
typedef uint32_t cw_status;

/**
 * One reading of one source.
 */
typedef struct {
  /**
   * When the position was captured, in nanoseconds: the instant the motion had it, not the instant the value arrived. Not looked
   * at with CW_SAMPLE_NONE.
   */
  uint64_t captured_at;
  /**
   * The counter as read. Only as many of its lowest bits count as the counter has.
   */
  uint64_t count;
  /**
   * A CW_SAMPLE_ value. 0 is none of them: a reading that was never filled in is refused.
   */
  uint32_t kind;
} cw_reading;

/**
 * One evaluation instant: the time, the newest reading of each source, the level of every input line.
 */
typedef struct {
  /**
   * The evaluation instant in nanoseconds, from an arbitrary origin that all readings share. Later than that of the
   * frame before; otherwise a clock fault. 64 bits do not wrap in a machine's life: a timer of 32 bits has to be extended.
   */
  uint64_t now;
  /**
   * Of source A.
   */
  cw_reading a;
  /**
   * Of source B.
   */
  cw_reading b;
  /**
   * One bit a line, line 0 in the lowest bit; 1 is high.
   */
  uint32_t levels;
} cw_frame;

/**
 * What one frame came to. Sets have one bit for each, in the order of the setup, the first in the lowest bit.
 */
typedef struct {
  /**
   * `now` of the evaluated frame, by which an outcome that was left over from an earlier frame can be told; 0 where the call
   * was refused.
   */
  uint64_t now;
  /**
   * What the call returned.
   */
  cw_status status;
  /**
   * Inputs that demand at this frame.
   */
  uint32_t demanding;
  /**
   * Inputs that became faulted at this frame.
   */
  uint32_t input_faults;
  /**
   * Active monitors.
   */
  uint32_t active;
  /**
   * Outputs that are true: never while the call was refused.
   */
  uint32_t outputs;
  /**
   * Active monitors that need a referenced position, and channel A has none.
   */
  uint32_t unreferenced_a;
  /**
   * Active monitors that need a referenced position, and channel B has none.
   */
  uint32_t unreferenced_b;
  /**
   * Monitors violated on channel A at this frame.
   */
  uint32_t violated_a;
  /**
   * Monitors violated on channel B at this frame.
   */
  uint32_t violated_b;
  /**
   * Monitors that tripped on channel A at this frame.
   */
  uint32_t tripped_a;
  /**
   * Monitors that tripped on channel B at this frame.
   */
  uint32_t tripped_b;
  /**
   * Analogue values whose line of channel A cannot be seen at this frame.
   */
  uint32_t analogue_faults_a;
  /**
   * Analogue values whose line of channel B cannot be seen at this frame.
   */
  uint32_t analogue_faults_b;
  /**
   * Analogue values whose two lines came apart for too long, at this frame.
   */
  uint32_t analogue_tripped;
  /**
   * Why channel A cannot be seen at this frame: a CW_FAULT_ value.
   */
  uint32_t fault_a;
  /**
   * Why channel B cannot be seen at this frame: a CW_FAULT_ value.
   */
  uint32_t fault_b;
  /**
   * What came of a reset that was released at this frame: a CW_RESET_ value.
   */
  uint32_t reset;
  /**
   * Torque is permitted. False also where the call was refused, and while it is being made.
   */
  bool permit;
  /**
   * Time did not advance: nothing was evaluated, and all else here is empty.
   */
  bool clock_fault;
  /**
   * Something needed is not known yet.
   */
  bool warming_up;
  /**
   * The position discrepancy tripped at this frame.
   */
  bool position_discrepancy_tripped;
  /**
   * The speed discrepancy tripped at this frame.
   */
  bool speed_discrepancy_tripped;
} cw_outcome;

/**
 * One reading of one line of an analogue value.
 */
typedef struct {
  /**
   * When the value was so, in nanoseconds.
   */
  uint64_t captured_at;
  /**
   * The value, in 2^-24 of its unit. Not looked at with CW_SAMPLE_INVALID.
   */
  int64_t value;
  /**
   * CW_SAMPLE_VALUE or CW_SAMPLE_INVALID. 0 is none of them: a reading that was never filled in is refused.
   */
  uint32_t kind;
} cw_analogue_reading;

/**
 * What an axis was loaded from.
 */
typedef struct {
  /**
   * CRC-32/ISO-HDLC of the image: what a person who released it wrote down.
   */
  uint32_t image_checksum;
  /**
   * Checksum of the setup that the image was sealed from, as whoever sealed it reckons it.
   */
  uint32_t setup_checksum;
  /**
   * How many monitors it has.
   */
  uint32_t monitors;
  /**
   * How many inputs it has, the reset aside.
   */
  uint32_t inputs;
  /**
   * How many analogue values it has.
   */
  uint32_t analogues;
} cw_info;

/**
 * The latched decision that a rule was broken, with everything needed to explain it.
 */
typedef struct {
  /**
   * When the demand of the rule became active, in nanoseconds; for a rule that is always active, the first frame.
   */
  uint64_t demanded_at;
  /**
   * The first frame of the unbroken violation, in nanoseconds.
   */
  uint64_t violated_since;
  /**
   * The frame at which it tripped, in nanoseconds.
   */
  uint64_t tripped_at;
  /**
   * What was seen at that frame, rounded towards the violation to 2^-24 of the unit of `quantity`: a magnitude, unless the limits of
   * the two directions differ.
   */
  int64_t observed;
  /**
   * What was allowed, in the same unit.
   */
  int64_t limit;
  /**
   * By how much it was exceeded, in the same unit, never negative: the difference of the two; one beyond what is
   * held here is the largest there is.
   */
  int64_t excess;
  /**
   * What was observed: a CW_QUANTITY_ value.
   */
  uint32_t quantity;
  /**
   * On which side of the limit a violation lies: a CW_SIDE_ value.
   */
  uint32_t side;
  /**
   * Which rule: a CW_RULE_ value.
   */
  uint32_t rule;
  /**
   * With CW_RULE_MONITOR the place of the monitor in the order of the setup, from 0, with CW_RULE_ANALOGUE_DISCREPANCY that of the analogue
   * value; otherwise 0.
   */
  uint32_t monitor;
  /**
   * With CW_RULE_MONITOR the channel; otherwise CW_CHANNEL_A.
   */
  uint32_t channel;
} cw_trip;

/**
 * Storage for one axis. Static storage is best: a function's own storage ends with the function.
 */
typedef struct {
  /**
   * Belongs to the library.
   */
  uint64_t words[CW_AXIS_WORDS];
} cw_axis_storage;

/**
 * Done.
 */
#define CW_OK 0

/**
 * A pointer that must not be null is null. After a refused load that is so of the axis.
 */
#define CW_STATUS_NULL 1

/**
 * A pointer is not aligned for what it points to.
 */
#define CW_STATUS_ALIGNMENT 2

/**
 * The storage is smaller than CW_AXIS_SIZE.
 */
#define CW_STATUS_SIZE 3

/**
 * Two things that must lie apart overlap in memory: image or axis pointer and storage, outcome or answer and axis.
 */
#define CW_STATUS_OVERLAP 4

/**
 * The storage holds a loaded axis already. Loading over it would clear its latches without a reset: unload it first.
 */
#define CW_STATUS_LOADED_ALREADY 5

/**
 * There is no loaded axis at this place: never loaded, unloaded, or overwritten at its beginning.
 */
#define CW_STATUS_NOT_LOADED 6

/**
 * The axis was loaded at another place: its storage was copied.
 */
#define CW_STATUS_MOVED 7

/**
 * Something else wrote to the end of the storage of the axis.
 */
#define CW_STATUS_OVERWRITTEN 8

/**
 * Another call on the same axis is not finished: this one came from an interrupt or another thread.
 */
#define CW_STATUS_BUSY 9

/**
 * The kind of a reading is none of CW_SAMPLE_NONE, CW_SAMPLE_COUNT, CW_SAMPLE_INVALID.
 */
#define CW_STATUS_SAMPLE_KIND 10

/**
 * Neither CW_CHANNEL_A nor CW_CHANNEL_B.
 */
#define CW_STATUS_NO_CHANNEL 11

/**
 * The axis does not have this monitor.
 */
#define CW_STATUS_NO_MONITOR 12

/**
 * The axis does not have this input.
 */
#define CW_STATUS_NO_INPUT 13

/**
 * None of the CW_RULE_ values.
 */
#define CW_STATUS_NO_RULE 14

/**
 * No trip of that rule is latched, or there are not so many.
 */
#define CW_STATUS_NO_TRIP 15

/**
 * What was asked for is not known at the last frame.
 */
#define CW_STATUS_UNKNOWN 16

/**
 * The axis does not have this analogue value.
 */
#define CW_STATUS_NO_ANALOGUE 17

/**
 * The image does not begin as a sealed setup does.
 */
#define CW_STATUS_NOT_AN_IMAGE 32

/**
 * The image was sealed in a version of the format that this library does not read, or its version is damaged.
 */
#define CW_STATUS_VERSION 33

/**
 * The image is cut, or something was appended.
 */
#define CW_STATUS_LENGTH 34

/**
 * The image was altered: its checksum is not that of its content.
 */
#define CW_STATUS_ALTERED 35

/**
 * The image was sealed for another number of stored readings than CW_POINTS.
 */
#define CW_STATUS_POINTS 36

/**
 * The setup has more monitors than CW_MONITORS or more inputs than CW_INPUTS.
 */
#define CW_STATUS_CAPACITY 37

/**
 * The content is of no known form although its checksum is right: another program made it.
 */
#define CW_STATUS_CONTENT 38

/**
 * The image has a source that cannot be set up.
 */
#define CW_STATUS_SOURCE 39

/**
 * The image has a distance per count that cannot be used.
 */
#define CW_STATUS_SCALE 40

/**
 * The image has an input that cannot be set up.
 */
#define CW_STATUS_INPUT 41

/**
 * The image has an axis that cannot be set up.
 */
#define CW_STATUS_AXIS 42

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

/**
 * What a status means, in English, for a log. Never null; for a number that is no status it says so.
 */
const char *cw_status_text(cw_status status);

/**
 * CW_INTERFACE_VERSION of the library.
 */
uint32_t cw_interface_version(void);

/**
 * CW_AXIS_SIZE of the library, in bytes. Differs from that of the header when only one of the two was made for a small axis: then
 * CW_POINTS, CW_MONITORS and CW_INPUTS of the header are not those of the library either.
 */
size_t cw_axis_size(void);

/**
 * The name that reports use for a CW_FAULT_ value. Never null.
 */
const char *cw_fault_text(uint32_t fault);

/**
 * What a CW_RESET_ value means, in English. Never null.
 */
const char *cw_reset_text(uint32_t reset);

/**
 * Loads the axis of a sealed setup into storage that the caller owns. The axis starts without permit and without knowing
 * anything. `image` is not needed afterwards.
 *
 * `storage` has `size` bytes, at least CW_AXIS_SIZE, aligned like a uint64_t; best is a static cw_axis_storage and its
 * sizeof. `image` has `length` bytes. `*axis` becomes the axis to hand to the other functions, null on every refusal; only when it
 * lies in the storage itself it is not written.
 *
 * Refused: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_SIZE, CW_STATUS_OVERLAP, CW_STATUS_LOADED_ALREADY, or with the
 * statuses from CW_STATUS_NOT_AN_IMAGE on what is wrong with the image. A refused load leaves no axis in the storage, except
 * with CW_STATUS_LOADED_ALREADY, which leaves the one there as it was. Storage that keeps its content over a
 * restart must be cleared before.
 *
 * The caller answers for this: no other call on the same storage runs meanwhile.
 */
CW_MUST_USE
cw_status cw_axis_load(void *storage,
                       size_t size,
                       const uint8_t *image,
                       size_t length,
                       cw_axis **axis);

/**
 * Gives the storage of an axis back: it may be loaded again, or used for something else. What was latched is forgotten.
 *
 * Refused: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_NOT_LOADED, CW_STATUS_MOVED, CW_STATUS_OVERWRITTEN, CW_STATUS_BUSY.
 * Storage of an axis that was overwritten can be loaded again after it was cleared.
 */
CW_MUST_USE
cw_status cw_axis_unload(cw_axis *axis);

/**
 * Evaluates one frame. Bounded in time; it neither waits nor calls anything.
 *
 * `*outcome` is written whatever happens, unless `outcome` is null: without permit before anything else, so that a
 * call that does not come back leaves none standing, and with what the frame came to at the end. Whoever reads the
 * permit elsewhere is handed a copy after the call.
 *
 * Refused: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_SAMPLE_KIND, CW_STATUS_NOT_LOADED, CW_STATUS_MOVED,
 * CW_STATUS_OVERWRITTEN, CW_STATUS_BUSY. A refused frame was not evaluated: the axis is as if it had not been handed in, but there is
 * no permit for it.
 *
 * CW_STATUS_OVERLAP, before all others, when `outcome` lies in the axis, as the outcome of a function does whose stack has grown into
 * the storage. It is written there all the same, because whoever holds the torque by `outcome->permit` must not read what the axis
 * has there. That destroys the axis, so it is unloaded first: no later frame is evaluated with what is left of it.
 */
CW_MUST_USE
cw_status cw_axis_step(cw_axis *axis,
                       const cw_frame *frame,
                       cw_outcome *outcome);

/**
 * Hands in a reading of one line of an analogue value: it counts from the next frame on. `analogue` is the place of the value in the order of
 * the setup, from 0; `channel` a CW_CHANNEL_ value.
 *
 * Refused: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_SAMPLE_KIND, CW_STATUS_NO_CHANNEL, CW_STATUS_NO_ANALOGUE, CW_STATUS_NOT_LOADED,
 * CW_STATUS_MOVED, CW_STATUS_OVERWRITTEN, CW_STATUS_BUSY. A refused reading was not taken, and the one before it ages.
 */
CW_MUST_USE
cw_status cw_axis_offer(cw_axis *axis,
                        uint32_t analogue,
                        uint32_t channel,
                        const cw_analogue_reading *reading);

/**
 * What the axis was loaded from, into `*info`; all zeros on a refusal.
 *
 * Refused, like all that follow: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_NOT_LOADED, CW_STATUS_MOVED,
 * CW_STATUS_OVERWRITTEN, CW_STATUS_BUSY; CW_STATUS_OVERLAP when the answer would lie in the axis, where it is not written.
 */
CW_MUST_USE
cw_status cw_axis_info(const cw_axis *axis,
                       cw_info *info);

/**
 * The latched trip of one rule, into `*trip`. `rule` is a CW_RULE_ value; `monitor`, its place in the order of the setup from 0,
 * and `channel`, a CW_CHANNEL_ value, are looked at with CW_RULE_MONITOR only.
 *
 * Refused also: CW_STATUS_NO_RULE, CW_STATUS_NO_MONITOR, CW_STATUS_NO_CHANNEL, CW_STATUS_NO_TRIP. `*trip` then has CW_UNKNOWN
 * as `observed`, `limit` and `excess`.
 */
CW_MUST_USE
cw_status cw_axis_trip(const cw_axis *axis,
                       uint32_t rule,
                       uint32_t monitor,
                       uint32_t channel,
                       cw_trip *trip);

/**
 * A latched trip by its place among all latched ones from 0, into `*trip`: monitors in the order of the setup, channel A first,
 * then the discrepancies. Ask from 0 on until CW_STATUS_NO_TRIP to get all of them.
 *
 * Refused also: CW_STATUS_NO_TRIP when there are not so many. `*trip` then has CW_UNKNOWN as `observed`, `limit` and `excess`.
 */
CW_MUST_USE
cw_status cw_axis_trip_at(const cw_axis *axis,
                          uint32_t place,
                          cw_trip *trip);

/**
 * The position of a channel at the last frame, into `*position`, in 2^-24 of the axis unit: its count from the first reading on, times
 * the distance per count, rounded to nearest, ties away from zero. `channel` is a CW_CHANNEL_ value.
 *
 * Refused also: CW_STATUS_NO_CHANNEL, CW_STATUS_UNKNOWN. `*position` is then CW_UNKNOWN.
 */
CW_MUST_USE
cw_status cw_axis_position(const cw_axis *axis,
                           uint32_t channel,
                           int64_t *position);

/**
 * The windowed speed of a channel at the last frame, into `*speed`, in 2^-24 of the axis unit per second, its magnitude rounded up.
 * `channel` is a CW_CHANNEL_ value. Of some cost: it is worked out when it is asked for.
 *
 * Refused also: CW_STATUS_NO_CHANNEL, CW_STATUS_UNKNOWN. `*speed` is then CW_UNKNOWN.
 */
CW_MUST_USE
cw_status cw_axis_speed(const cw_axis *axis,
                        uint32_t channel,
                        int64_t *speed);

/**
 * How far the channels were apart at the last frame, into `*distance`, in 2^-24 of the axis unit, 0 or more.
 *
 * Refused also: CW_STATUS_UNKNOWN when that was not held against the tolerance: without the rule, while either channel could
 * not be seen, or with nothing to count from. `*distance` is then CW_UNKNOWN.
 */
CW_MUST_USE
cw_status cw_axis_distance(const cw_axis *axis,
                           int64_t *distance);

/**
 * Whether a channel fault is latched, into `*faulted`; true on a refusal. `channel` is a CW_CHANNEL_ value.
 *
 * Refused also: CW_STATUS_NO_CHANNEL.
 */
CW_MUST_USE cw_status cw_axis_channel_faulted(const cw_axis *axis, uint32_t channel, bool *faulted);

/**
 * Whether an input fault is latched, into `*faulted`; true on a refusal. `input` is its place in the order of the setup, from 0.
 *
 * Refused also: CW_STATUS_NO_INPUT.
 */
CW_MUST_USE
cw_status cw_axis_input_faulted(const cw_axis *axis,
                                uint32_t input,
                                bool *faulted);

/**
 * Whether a clock fault is latched, into `*faulted`; true on a refusal.
 */
CW_MUST_USE cw_status cw_axis_clock_faulted(const cw_axis *axis, bool *faulted);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* COWITNESS_H */
