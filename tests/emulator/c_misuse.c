/* What a program in C can get wrong is refused, and nothing is touched; every function is called.
 *
 * Exit status: 0 all as the header says, else the number of the first that is not.
 */
#include <stdio.h>
#include <string.h>

#include "trueonset.h"

#define IS(number, found, expected) \
    do { \
        if ((found) != (expected)) { \
            printf("%d: found %lu, expected %lu\n", number, (unsigned long)(found), (unsigned long)(expected)); \
            return number; \
        } \
    } while (0)

#define FITS(version, settings, counter) \
    trueonset_fits(version, settings, sizeof(TrueonsetConfig), sizeof(TrueonsetLine), sizeof(TrueonsetEvent), \
        sizeof(TrueonsetTally), counter)

static TrueonsetSettings good(void)
{
    return (TrueonsetSettings){ .hold_ns = 1000000, .release_hold_ns = 2000000, .tick_hz = 1000000,
        .bandwidth_hz = 100000, .step_256 = 256, .side = TRUEONSET_BEFORE, .touched = TRUEONSET_LOW };
}

int main(void)
{
    static TrueonsetConfig config, never_config;
    static TrueonsetLine line, never;
    static TrueonsetCounter counter, never_counter;
    TrueonsetSettings settings = good();
    TrueonsetEvent event, before;
    TrueonsetTally tally;
    uint64_t at = 7;
    uint32_t faults = 9;
    char word[8] = "-------";
    memset(&event, 0x5a, sizeof event);
    before = event;

    IS(1, trueonset_config(NULL, &settings), TRUEONSET_NULL);
    IS(2, trueonset_config(&config, NULL), TRUEONSET_NULL);
    settings.tick_hz = 0;
    IS(3, trueonset_config(&config, &settings), TRUEONSET_BAD_RATE);
    settings = good(), settings.hold_ns = 0;
    IS(4, trueonset_config(&config, &settings), TRUEONSET_BAD_HOLD);
    settings = good(), settings.release_hold_ns = UINT64_MAX;
    IS(5, trueonset_config(&config, &settings), TRUEONSET_BAD_HOLD);
    settings = good(), settings.step_256 = 0;
    IS(6, trueonset_config(&config, &settings), TRUEONSET_BAD_STEP);
    settings = good(), settings.side = 3;
    IS(7, trueonset_config(&config, &settings), TRUEONSET_NO_SUCH);
    settings = good(), settings.touched = TRUEONSET_UNKNOWN;
    IS(8, trueonset_config(&config, &settings), TRUEONSET_NO_SUCH);
    IS(9, trueonset_line_start(&line, &config, TRUEONSET_HIGH, 0), TRUEONSET_NOT_STARTED);
    settings = good();
    IS(10, trueonset_config(&config, &settings), TRUEONSET_NOTHING);

    IS(11, trueonset_line_start(NULL, &config, TRUEONSET_HIGH, 0), TRUEONSET_NULL);
    IS(12, trueonset_line_start(&line, NULL, TRUEONSET_HIGH, 0), TRUEONSET_NULL);
    IS(13, trueonset_line_start(&line, &config, 3, 0), TRUEONSET_NO_SUCH);
    IS(14, trueonset_line_edge(&line, &config, 1, TRUEONSET_LOW, 0, &event), TRUEONSET_NOT_STARTED);
    IS(15, trueonset_line_start(&line, &config, TRUEONSET_HIGH, 0), TRUEONSET_NOTHING);
    IS(16, trueonset_line_edge(&line, &config, 1, 200, 0, &event), TRUEONSET_NO_SUCH);
    IS(17, trueonset_line_edge(NULL, &config, 1, TRUEONSET_LOW, 0, &event), TRUEONSET_NULL);
    IS(18, trueonset_line_edge(&line, &config, 1, TRUEONSET_LOW, 0, NULL), TRUEONSET_NULL);
    IS(19, trueonset_line_poll(&line, &never_config, 1, &event), TRUEONSET_NOT_STARTED);
    IS(20, trueonset_line_poll(&never, &config, 1, &event), TRUEONSET_NOT_STARTED);
    IS(21, trueonset_line_deadline(&never, &at), TRUEONSET_NOT_STARTED);
    IS(22, trueonset_line_deadline(&line, NULL), TRUEONSET_NULL);
    IS(23, trueonset_line_open_since(NULL, &at), TRUEONSET_NULL);
    IS(24, trueonset_line_in_contact(NULL), TRUEONSET_NULL);
    IS(25, trueonset_line_in_contact(&never), TRUEONSET_NOT_STARTED);
    IS(26, trueonset_line_tally(&line, NULL), TRUEONSET_NULL);
    IS(27, trueonset_line_tally(&never, &tally), TRUEONSET_NOT_STARTED);
    IS(28, trueonset_line_deadline(&line, &at), 0);
    IS(29, at, 7);
    IS(30, memcmp(&event, &before, sizeof event), 0);

    /* A touch at tick 1000, its hold of 1000 ticks over at 2000; the flags of the hardware stay. */
    IS(31, trueonset_line_edge(&line, &config, 1000, TRUEONSET_LOW, 1u << 5 | 1u << 31, &event), TRUEONSET_NOTHING);
    IS(32, trueonset_line_deadline(&line, &at), 1);
    IS(33, at, 2000);
    IS(34, trueonset_line_open_since(&line, &at), 1);
    IS(35, at, 1000);
    IS(36, trueonset_line_poll(&line, &config, 1999, &event), TRUEONSET_NOTHING);
    IS(37, trueonset_line_poll(&line, &config, 2000, &event), TRUEONSET_TOUCH);
    IS(38, event.first_edge_ticks, 1000);
    IS(39, event.confirmed_ticks, 2000);
    /* Capture stores the step before: half of one is added. */
    IS(40, event.onset_ticks, 1000);
    IS(41, event.onset_256, 128);
    IS(42, trueonset_nearest(event.onset_ticks, event.onset_256), 1001);
    IS(43, event.flags >> 5 & 1, 1);
    IS(44, event.flags >> 31, 0);
    IS(45, trueonset_line_in_contact(&line), 1);
    IS(46, trueonset_line_tally(&line, &tally), TRUEONSET_NOTHING);
    IS(47, tally.touches, 1);
    IS(48, trueonset_doubt_ns(event.doubt_16, settings.tick_hz) > 0, 1);
    IS(49, trueonset_doubt_ns(0, settings.tick_hz), 0);
    IS(50, trueonset_doubt_ns(5, 0), 0);
    IS(51, trueonset_flags_with(1u << 5, 1 | 1u << 6), 1u << 5 | 1u << 6);

    IS(52, trueonset_flag_word(5, word, sizeof word), strlen("overcapture"));
    IS(53, strcmp(word, "overcap"), 0);
    IS(54, trueonset_flag_word(5, NULL, 99), strlen("overcapture"));
    IS(55, trueonset_flag_word(5, word, 0), strlen("overcapture"));
    IS(56, trueonset_flag_word(31, word, sizeof word), 0);
    IS(57, trueonset_flag_word(255, word, sizeof word), 0);
    IS(58, word[0], 0);

    IS(59, trueonset_counter_start(NULL, 16, 0, 0), TRUEONSET_NULL);
    IS(60, trueonset_counter_start(&counter, 17, 0, 0), TRUEONSET_NO_SUCH);
    IS(61, trueonset_counter_widen(&never_counter, 1, &at, &faults), TRUEONSET_NOT_STARTED);
    IS(62, trueonset_counter_start(&counter, 16, 0x1fff0, 100), TRUEONSET_NOTHING);
    IS(63, trueonset_counter_widen(&counter, 1, NULL, &faults), TRUEONSET_NULL);
    IS(64, trueonset_counter_widen(&counter, 1, &at, NULL), TRUEONSET_NULL);
    IS(65, trueonset_counter_widen(NULL, 1, &at, &faults), TRUEONSET_NULL);
    IS(66, trueonset_counter_widen(&counter, 0x0010, &at, &faults), TRUEONSET_NOTHING);
    IS(67, at, 0x20010);
    IS(68, faults, 0);
    IS(69, trueonset_counter_widen(&counter, 0xfffe, &at, &faults), TRUEONSET_NOTHING);
    IS(70, at, 0x1fffe);
    IS(71, TRUEONSET_FITS(), 1);
    IS(72, TRUEONSET_FLAG_OVERCAPTURE, 1u << 5);
    /* Another release, and a compiler that packs structs. */
    IS(73, FITS(TRUEONSET_VERSION - 1, sizeof settings, sizeof counter), 0);
    IS(74, FITS(TRUEONSET_VERSION, sizeof settings - 2, sizeof counter), 0);
    IS(75, FITS(TRUEONSET_VERSION, sizeof settings, sizeof counter - 8), 0);
    IS(76, FITS(TRUEONSET_VERSION, sizeof settings, sizeof counter), 1);

    /* A release is lost while a glitch is open: the glitch is told, and the line goes on at the level of the pin. */
    IS(77, trueonset_line_is_sure(NULL), TRUEONSET_NULL);
    IS(78, trueonset_line_is_sure(&never), TRUEONSET_NOT_STARTED);
    IS(79, trueonset_line_lost(NULL, &config, 1, TRUEONSET_LOW, &event), TRUEONSET_NULL);
    IS(80, trueonset_line_lost(&never, &config, 1, TRUEONSET_LOW, &event), TRUEONSET_NOT_STARTED);
    IS(81, trueonset_line_lost(&line, &config, 1, 3, &event), TRUEONSET_NO_SUCH);
    IS(82, trueonset_line_edge(&line, &config, 10000, TRUEONSET_HIGH, 0, &event), TRUEONSET_NOTHING);
    IS(83, trueonset_line_edge(&line, &config, 10010, TRUEONSET_LOW, 0, &event), TRUEONSET_NOTHING);
    IS(84, trueonset_line_lost(&line, &config, 20000, TRUEONSET_UNKNOWN, &event), TRUEONSET_GLITCH);
    IS(85, event.edges, 2);
    IS(86, trueonset_line_is_sure(&line), 0);
    IS(87, trueonset_line_lost(&line, &config, 20500, TRUEONSET_HIGH, &event), TRUEONSET_NOTHING);
    IS(88, trueonset_line_is_sure(&line), 1);
    IS(89, trueonset_line_poll(&line, &config, 22499, &event), TRUEONSET_NOTHING);
    IS(90, trueonset_line_poll(&line, &config, 22500, &event), TRUEONSET_RELEASE);
    IS(91, event.flags & TRUEONSET_FLAG_OVERCAPTURE, TRUEONSET_FLAG_OVERCAPTURE);
    IS(92, trueonset_line_in_contact(&line), 0);

    /* What has ended is refused in the same place. */
    trueonset_line_end(NULL), trueonset_config_end(NULL), trueonset_counter_end(NULL);
    trueonset_line_end(&line);
    IS(93, trueonset_line_in_contact(&line), TRUEONSET_NOT_STARTED);
    trueonset_config_end(&config);
    IS(94, trueonset_line_start(&line, &config, TRUEONSET_HIGH, 0), TRUEONSET_NOT_STARTED);
    trueonset_counter_end(&counter);
    IS(95, trueonset_counter_widen(&counter, 1, &at, &faults), TRUEONSET_NOT_STARTED);
    puts("every misuse is refused");
    return 0;
}
