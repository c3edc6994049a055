/* trueonset for programs in C: from captured edges to the true instant of contact.
 *
 * Made by cbindgen out of src/lib.rs; do not edit.
 *
 * The caller owns all memory, and nothing is allocated or kept: a struct may lie anywhere, and may
 * be copied or moved by assignment between two calls. Zero a state before it is made ready (static
 * memory is), and end one whose memory others use after it, as that of a function: what an earlier
 * state left in the same place would pass for one that is ready. One thread or interrupt at a time
 * uses a state; a TrueonsetConfig that is ready may be shared, since nothing writes to it any more.
 * Call TRUEONSET_FITS() once, so that a library of another header is found out.
 *
 * A queue between interrupt and loop is the program's own. Let it count what finds no room, and tell
 * the line by trueonset_line_lost after it was emptied, whenever the count has grown; an edge that
 * the capture unit flags as over-captured goes in with TRUEONSET_FLAG_OVERCAPTURE. Two channels of a
 * timer, one a direction, are read by one handler, which stores the earlier stamp first.
 *
 * A measuring signal, not a safety function; no performance level is claimed; guards and emergency
 * stop stay in charge.
 */

#ifndef TRUEONSET_H
#define TRUEONSET_H

#include <stddef.h>
#include <stdint.h>

/* Whether the library goes with this header and this compiler: 1 yes, 0 no. */
#define TRUEONSET_FITS() \
    trueonset_fits(TRUEONSET_VERSION, sizeof(TrueonsetSettings), sizeof(TrueonsetConfig), \
                   sizeof(TrueonsetLine), sizeof(TrueonsetEvent), sizeof(TrueonsetTally), \
                   sizeof(TrueonsetCounter))

// Nothing to tell.
#define TRUEONSET_NOTHING 0

// The tool touched.
#define TRUEONSET_TOUCH 1

// The tool let go.
#define TRUEONSET_RELEASE 2

// Edges without a change of contact.
#define TRUEONSET_GLITCH 3

// Refused: a pointer is null.
#define TRUEONSET_NULL 128

// Refused: a state that was not made ready.
#define TRUEONSET_NOT_STARTED 129

// Refused: a number that stands for no level, side or width.
#define TRUEONSET_NO_SUCH 130

// Refused: a tick rate of 0 Hz.
#define TRUEONSET_BAD_RATE 131

// Refused: a hold of less than a tick, or of more than 2^31 - 1.
#define TRUEONSET_BAD_HOLD 132

// Refused: a capture step of 0, or of more than 65536 ticks.
#define TRUEONSET_BAD_STEP 133

// Flag: the stated doubt is an upper bound, not an estimate.
#define TRUEONSET_FLAG_UPPER (1 << 0)

// Flag: the hold is short against the chatter (below 25 mean dwells).
#define TRUEONSET_FLAG_SHORT_HOLD (1 << 1)

// Flag: the chatter is far too wide for its number of edges.
#define TRUEONSET_FLAG_ROUGH (1 << 2)

// Flag: the release did not start from deep contact, its doubt is not known.
#define TRUEONSET_FLAG_SHALLOW (1 << 3)

// Flag: balance point and causal estimate disagreed; the causal one was used.
#define TRUEONSET_FLAG_HYBRID (1 << 4)

// Flag: the hardware overwrote a stamp before it was read.
#define TRUEONSET_FLAG_OVERCAPTURE (1 << 5)

// Flag: two edges to the same level in a row, so at least one is missing.
#define TRUEONSET_FLAG_LOST_EDGE (1 << 6)

// Flag: a stamp before its predecessor, or one whose high bits are in doubt.
#define TRUEONSET_FLAG_TIME_BACK (1 << 7)

// Flag: the level could not be read for a while.
#define TRUEONSET_FLAG_UNKNOWN_LEVEL (1 << 8)

// Flag: the contact of a turning cutter, hits merged into one touch.
#define TRUEONSET_FLAG_INTERRUPTED (1 << 9)

// Flag: contact that broke up several times before it held.
#define TRUEONSET_FLAG_FLUTTER (1 << 10)

// Flag: dirt has taken a large part of the light.
#define TRUEONSET_FLAG_FILM (1 << 11)

// Flag: too little light, or light that went faster than any blade could take it.
#define TRUEONSET_FLAG_DARK (1 << 12)

// Flag: more light than the converter can show.
#define TRUEONSET_FLAG_SATURATED (1 << 13)

// Flag: foreign light changes with the mains or a lamp.
#define TRUEONSET_FLAG_FLICKER (1 << 14)

// Flag: the light has not changed for too long.
#define TRUEONSET_FLAG_STUCK (1 << 15)

// Flag: the rest level was not known well enough.
#define TRUEONSET_FLAG_NOT_SETTLED (1 << 16)

// Flag: samples are missing.
#define TRUEONSET_FLAG_GAP (1 << 17)

// Flag: the blade itself swings: chatter far too wide, and rich in edges.
#define TRUEONSET_FLAG_VIBRATION (1 << 18)

// Flag: touches that agree, but on one spot: a chip lying there would agree as well.
#define TRUEONSET_FLAG_SAME_SPOT (1 << 19)

// Of the header that a program was compiled with: what changes the layout of a struct or the
// meaning of a function changes this. See TRUEONSET_FITS.
#define TRUEONSET_VERSION 2

// Level: low.
#define TRUEONSET_LOW 0

// Level: high.
#define TRUEONSET_HIGH 1

// Level: could not be read.
#define TRUEONSET_UNKNOWN 2

// Capture stores the step before the edge, as timers usually do.
#define TRUEONSET_BEFORE 0

// Capture stores the nearest step.
#define TRUEONSET_NEAREST 1

// Capture stores the step after the edge.
#define TRUEONSET_AFTER 2

// Checked settings; one serves any number of lines. Its content is the library's own.
typedef struct {
  uint64_t mark;
  uint64_t room[6];
} TrueonsetConfig;

// What the user decides about a line.
typedef struct {
  // How long a level must last to count as a touch, ns.
  uint64_t hold_ns;
  // The same for a release, ns; 0: as for a touch.
  uint64_t release_hold_ns;
  // Ticks of the capture clock in a second, 1 or more.
  uint32_t tick_hz;
  // Bandwidth of comparator or filter, Hz; 0: not known.
  uint32_t bandwidth_hz;
  // Step of the capture, 1/256 tick: 256 where every tick is counted.
  uint32_t step_256;
  // Which step it stores: TRUEONSET_BEFORE, TRUEONSET_NEAREST, TRUEONSET_AFTER.
  uint8_t side;
  // Level in contact: TRUEONSET_HIGH, TRUEONSET_LOW.
  uint8_t touched;
} TrueonsetSettings;

// One line, from edges to touches. Its content is the library's own.
typedef struct {
  uint64_t mark;
  uint64_t room[20];
} TrueonsetLine;

// What a line has to say. Of a glitch only first and last edge, width, edges and flags count.
typedef struct {
  // The instant of contact, whole ticks.
  uint64_t onset_ticks;
  // First edge of the chatter, ticks.
  uint64_t first_edge_ticks;
  // Last edge of the chatter, ticks.
  uint64_t last_edge_ticks;
  // When the hold was over, ticks.
  uint64_t confirmed_ticks;
  // Balance point of the chatter, whole ticks.
  uint64_t balance_ticks;
  // Where the one-bit cumulative sum had its minimum, whole ticks.
  uint64_t causal_ticks;
  // Time a glitch spent away, ticks.
  uint64_t width_ticks;
  // Standard uncertainty of the onset, 1/16 tick, rounded up; 0: not known.
  uint32_t doubt_16;
  // Edges of the chatter.
  uint32_t edges;
  // Remarks, see trueonset_flag_word.
  uint32_t flags;
  // Parts of the onset beyond its whole ticks, 1/256 tick.
  uint8_t onset_256;
  // The same of the balance point.
  uint8_t balance_256;
  // The same of the cumulative sum.
  uint8_t causal_256;
  // What the doubt rests on: 0 assumed, 1 limit, 2 pooled, 3 measured, 4 rough.
  uint8_t kind;
} TrueonsetEvent;

// Where every edge given to a line went.
typedef struct {
  // Edges of touches.
  uint32_t touches;
  // Edges of releases.
  uint32_t releases;
  // Edges of glitches.
  uint32_t glitches;
  // The edge that first told the level of a line that began unknown.
  uint32_t initial;
  // Edges not used.
  uint32_t refused;
  // Edges of an episode still open.
  uint32_t pending;
} TrueonsetTally;

// A hardware counter, widened to ticks that do not wrap. Its content is the library's own.
typedef struct {
  uint64_t mark;
  uint64_t room[2];
} TrueonsetCounter;

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

// Checks `settings` and makes `config` ready. Returns TRUEONSET_NOTHING, or which one is refused.
//
// # Safety
// Both pointers are null or point to their structs.
uint8_t trueonset_config(TrueonsetConfig *config, const TrueonsetSettings *settings);

// Ends `config`, for memory that others use after it, as that of a function: what is left there is
// refused from now on.
//
// # Safety
// The pointer is null or points to its struct.
void trueonset_config_end(TrueonsetConfig *config);

// Makes `line` ready, at `level` since `at_ticks`. Returns TRUEONSET_NOTHING, or why it is refused.
//
// # Safety
// Both pointers are null or point to their structs.
uint8_t trueonset_line_start(TrueonsetLine *line,
                             const TrueonsetConfig *config,
                             uint8_t level,
                             uint64_t at_ticks);

// Ends `line`, for memory that others use after it, as that of a function: what is left there is
// refused from now on.
//
// # Safety
// The pointer is null or points to its struct.
void trueonset_line_end(TrueonsetLine *line);

// An edge to `level` at `at_ticks`; `faults` are those of trueonset_counter_widen and of the
// hardware, or 0. Returns what happened, and fills `event` then, or why nothing did.
//
// # Safety
// The pointers are null or point to their structs.
uint8_t trueonset_line_edge(TrueonsetLine *line,
                            const TrueonsetConfig *config,
                            uint64_t at_ticks,
                            uint8_t level,
                            uint32_t faults,
                            TrueonsetEvent *event);

// Edges before `now_ticks` were lost: a queue between interrupt and loop had no room, or the capture
// stood still. The line was out of sight and is at `level` now, which the pin shows; what it tells of
// that time has TRUEONSET_FLAG_OVERCAPTURE. Returns what had happened before, and fills `event` then,
// or why nothing did.
//
// # Safety
// The pointers are null or point to their structs.
uint8_t trueonset_line_lost(TrueonsetLine *line,
                            const TrueonsetConfig *config,
                            uint64_t now_ticks,
                            uint8_t level,
                            TrueonsetEvent *event);

// Time has reached `now_ticks`: call it by trueonset_line_deadline or any time later. Returns what
// happened, and fills `event` then, or why nothing did.
//
// # Safety
// The pointers are null or point to their structs.
uint8_t trueonset_line_poll(TrueonsetLine *line,
                            const TrueonsetConfig *config,
                            uint64_t now_ticks,
                            TrueonsetEvent *event);

// When trueonset_line_poll is due. Returns 1 and fills `at_ticks`; 0 where nothing is open.
//
// # Safety
// The pointers are null or point to their values.
uint8_t trueonset_line_deadline(const TrueonsetLine *line, uint64_t *at_ticks);

// First edge of what may still become a touch, a release or a glitch. Returns 1 and fills
// `at_ticks`; 0 where nothing is open.
//
// # Safety
// The pointers are null or point to their values.
uint8_t trueonset_line_open_since(const TrueonsetLine *line, uint64_t *at_ticks);

// Whether the tool touches: 1 yes, 0 no. See trueonset_line_is_sure.
//
// # Safety
// The pointer is null or points to its struct.
uint8_t trueonset_line_in_contact(const TrueonsetLine *line);

// Whether the level is known: 1 yes, 0 no. After an edge to TRUEONSET_UNKNOWN it is not until an
// edge says where the line is; what trueonset_line_in_contact says is old until then.
//
// # Safety
// The pointer is null or points to its struct.
uint8_t trueonset_line_is_sure(const TrueonsetLine *line);

// Where the edges of `line` went. Returns TRUEONSET_NOTHING, or why it is refused.
//
// # Safety
// The pointers are null or point to their structs.
uint8_t trueonset_line_tally(const TrueonsetLine *line, TrueonsetTally *tally);

// Makes `counter` ready: `bits` wide (16, 24 or 32), now at `start_ticks`, whose low bits are what
// the hardware shows. Stamps may lie up to `back_ticks` before the newest time. Returns
// TRUEONSET_NOTHING, or why it is refused.
//
// # Safety
// The pointer is null or points to its struct.
uint8_t trueonset_counter_start(TrueonsetCounter *counter,
                                uint8_t bits,
                                uint64_t start_ticks,
                                uint32_t back_ticks);

// Ends `counter`, for memory that others use after it, as that of a function: what is left there is
// refused from now on.
//
// # Safety
// The pointer is null or points to its struct.
void trueonset_counter_end(TrueonsetCounter *counter);

// Widens the counter value `raw`; call it at least once every half turn. Fills `at_ticks` and, for
// trueonset_line_edge, `faults`. Returns TRUEONSET_NOTHING, or why it is refused.
//
// # Safety
// The pointers are null or point to their values.
uint8_t trueonset_counter_widen(TrueonsetCounter *counter,
                                uint32_t raw,
                                uint64_t *at_ticks,
                                uint32_t *faults);

// The tick nearest to `ticks` and `part_256` 1/256 ticks, a half rounded up.
uint64_t trueonset_nearest(uint64_t ticks, uint8_t part_256);

// A doubt in ns, rounded up; 0 where it is not known or the tick rate is 0 Hz.
uint64_t trueonset_doubt_ns(uint32_t doubt_16, uint32_t tick_hz);

// Whether the library goes with the header and the compiler of a program: 1 yes, 0 no. Call it as
// TRUEONSET_FITS(), which gives it the version of the header and the size of every struct there:
// an option that packs structs is found out as well.
uint8_t trueonset_fits(uint32_t version,
                       size_t settings,
                       size_t config,
                       size_t line,
                       size_t event,
                       size_t tally,
                       size_t counter);

// The flags of a touch together with what its release adds.
uint32_t trueonset_flags_with(uint32_t touch, uint32_t release);

// Writes the word of the flag `1 << bit` and a closing zero to `out`, cut to `room` bytes. Returns
// the length of the whole word; 0 where there is none.
//
// # Safety
// `out` is null or points to `room` bytes.
size_t trueonset_flag_word(uint8_t bit, char *out, size_t room);

#ifdef __cplusplus
} // extern "C"
#endif // __cplusplus

#endif /* TRUEONSET_H */
