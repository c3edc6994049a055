/* Replays a log in C: the same touches, byte for byte, as `trueonset replay LOG --csv`.
 *
 *     replay LOG OUT [--hold-ns N] [--touched high|low] [--bandwidth-hz N]
 *
 * Exit status: 0 done, 2 the input cannot be judged; what came before the damage is written all the
 * same. On a board of your own the edges come from a capture interrupt: see `take`, that is all of
 * it. A measuring signal, not a safety function; no performance level is claimed; guards and
 * emergency stop stay in charge.
 */
#include <errno.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "trueonset.h"

enum { LINES = 8, NAME = 32, ROW = 128, HELD = 48, TICK_HZ = 1000000000 };

struct line {
    char name[NAME + 1];
    uint8_t level;
    TrueonsetLine line;
};

/* A touch that may not leave yet. */
struct row {
    int64_t onset_ns, first_ns, last_ns, confirmed_ns, release_ns;
    uint64_t doubt_ns, release_doubt_ns;
    uint32_t edges, flags;
    uint8_t line, open, released;
};

static TrueonsetConfig config;
static struct line lines[LINES];
static struct row held[HELD];
static unsigned line_count, held_count, row_number;
static uint64_t latest;
static const char *log_name;
static FILE *out;

/* The zero of a log is the middle of the ticks, so that times before it keep their order. */
static uint64_t ticks(int64_t ns) { return (uint64_t)ns ^ UINT64_C(1) << 63; }
static int64_t ns(uint64_t ticks) { return (int64_t)(ticks ^ UINT64_C(1) << 63); }

/* Writes the complete rows whose onset lies before `earliest`. */
static void leave(int64_t earliest, int all)
{
    unsigned left = 0, bit;
    for (; left < held_count; left++) {
        struct row *row = &held[left];
        char word[16];
        const char *bar = "";
        if (!all && (row->open || row->onset_ns >= earliest))
            break;
        fprintf(out, "%s,%lld,", lines[row->line].name, (long long)row->onset_ns);
        if (row->doubt_ns)
            fprintf(out, "%llu", (unsigned long long)row->doubt_ns);
        fprintf(out, ",%lld,%lld,%lu,%lld,", (long long)row->first_ns, (long long)row->last_ns,
                (unsigned long)row->edges, (long long)row->confirmed_ns);
        if (row->released)
            fprintf(out, "%lld", (long long)row->release_ns);
        fputc(',', out);
        if (row->release_doubt_ns)
            fprintf(out, "%llu", (unsigned long long)row->release_doubt_ns);
        fputc(',', out);
        for (bit = 0; bit < 32; bit++)
            if (row->flags >> bit & 1 && trueonset_flag_word((uint8_t)bit, word, sizeof word)) {
                fprintf(out, "%s%s", bar, word);
                bar = "|";
            }
        fputc('\n', out);
    }
    held_count -= left;
    memmove(held, held + left, held_count * sizeof *held);
}

/* Lets rows leave that no line can get ahead of any more. */
static void settle(uint64_t now)
{
    uint64_t earliest = now, open;
    for (unsigned k = 0; k < line_count; k++)
        if (trueonset_line_open_since(&lines[k].line, &open) == 1 && open < earliest)
            earliest = open;
    leave(ns(earliest), 0);
}

/* What a line said; 0 where there is no room for it. */
static int note(uint8_t index, uint8_t what, const TrueonsetEvent *event)
{
    int64_t onset_ns = ns(trueonset_nearest(event->onset_ticks, event->onset_256));
    uint64_t doubt_ns = trueonset_doubt_ns(event->doubt_16, TICK_HZ);
    unsigned k;
    if (what == TRUEONSET_TOUCH) {
        if (held_count == HELD)
            return 0;
        for (k = held_count++; k > 0; k--) {
            struct row *before = &held[k - 1];
            if (before->onset_ns < onset_ns || (before->onset_ns == onset_ns && before->line <= index))
                break;
            held[k] = *before;
        }
        held[k] = (struct row){
            .onset_ns = onset_ns,
            .first_ns = ns(event->first_edge_ticks),
            .last_ns = ns(event->last_edge_ticks),
            .confirmed_ns = ns(event->confirmed_ticks),
            .doubt_ns = doubt_ns,
            .edges = event->edges,
            .flags = event->flags,
            .line = index,
            .open = 1,
        };
    } else if (what == TRUEONSET_RELEASE) {
        for (k = 0; k < held_count; k++)
            if (held[k].open && held[k].line == index) {
                held[k].open = 0;
                held[k].released = 1;
                held[k].release_ns = onset_ns;
                held[k].release_doubt_ns = doubt_ns;
                held[k].flags = trueonset_flags_with(held[k].flags, event->flags);
                break;
            }
    }
    return 1;
}

/* A row of the log; why it cannot be taken, or NULL. */
static const char *take(int64_t time_ns, const char *name, uint8_t level)
{
    uint64_t at = ticks(time_ns);
    uint8_t index = 0, what;
    TrueonsetEvent event;
    if (line_count == 0 || at > latest)
        latest = at;
    while (index < line_count && strcmp(lines[index].name, name) != 0)
        index++;
    if (index == line_count) {
        if (line_count == LINES)
            return "found a ninth line, expected at most 8; replay fewer lines at once";
        strcpy(lines[index].name, name);
        lines[index].level = level;
        trueonset_line_start(&lines[index].line, &config, level, at);
        line_count++;
        return NULL;
    }
    if (held_count == HELD)
        settle(at);
    if (lines[index].level == level) {
        what = trueonset_line_poll(&lines[index].line, &config, at, &event);
    } else {
        lines[index].level = level;
        what = trueonset_line_edge(&lines[index].line, &config, at, level, 0, &event);
    }
    if ((what == TRUEONSET_TOUCH || what == TRUEONSET_RELEASE) && !note(index, what, &event))
        return "found too many touches that must wait, expected a release; replay the lines one by one";
    return NULL;
}

/* Reads a row; what is wrong with it, or NULL. */
static const char *parse(char *text)
{
    char *name, *level, *end;
    int64_t time_ns;
    text[strcspn(text, "\r\n")] = 0;
    if (*text == 0 || *text == '#')
        return NULL;
    name = strchr(text, ',');
    level = name ? strchr(name + 1, ',') : NULL;
    if (!level || strchr(level + 1, ','))
        return "found another row, expected three fields `time_ns,line,level`; complete or remove it";
    *name++ = 0;
    *level++ = 0;
    errno = 0;
    time_ns = strtoll(text, &end, 10);
    if (end == text || *end || errno)
        return "found another time, expected whole nanoseconds, -2^63 to 2^63 - 1; correct it";
    if (*name == 0 || strlen(name) > NAME || strchr(name, '"'))
        return "found another name, expected 1 to 32 bytes without quotes; rename the line";
    if (!strcmp(level, "0"))
        return take(time_ns, name, TRUEONSET_LOW);
    if (!strcmp(level, "1"))
        return take(time_ns, name, TRUEONSET_HIGH);
    if (!strcmp(level, "x") || !strcmp(level, "X"))
        return take(time_ns, name, TRUEONSET_UNKNOWN);
    return "found another level, expected 0, 1 or x; correct it";
}

static const char *replay(FILE *log)
{
    static char text[ROW + 2];
    const char *wrong = NULL;
    while (!wrong && fgets(text, sizeof text, log)) {
        row_number++;
        if (!strchr(text, '\n') && !feof(log))
            return "found a longer row, expected at most 128 bytes; shorten it";
        if (row_number > 1)
            wrong = parse(text);
        else if (text[strcspn(text, "\r\n")] = 0, strcmp(text, "time_ns,line,level") != 0)
            return "found no header, expected `time_ns,line,level`; convert the log: trueonset convert";
    }
    if (!wrong && row_number == 0)
        return "found nothing, expected the header `time_ns,line,level`; convert the log";
    return wrong;
}

static int stop(const char *place, const char *why)
{
    fprintf(stderr, "error: %s", place);
    if (row_number)
        fprintf(stderr, ":%u", row_number);
    fprintf(stderr, ": %s\n", why);
    return 2;
}

/* A whole number of digits only, up to `most`: `strtoull` takes signs, and wraps what is negative. */
static int number(const char *text, uint64_t most, uint64_t *value)
{
    char *end = NULL;
    if (*text < '0' || *text > '9')
        return 0;
    errno = 0;
    *value = strtoull(text, &end, 10);
    return !*end && !errno && *value <= most;
}

/* The options behind LOG and OUT; the one that cannot be taken, or NULL. */
static const char *options(int count, char **words, TrueonsetSettings *settings)
{
    for (int k = 0; k < count; k += 2) {
        const char *value = k + 1 < count ? words[k + 1] : "";
        uint64_t read = 0;
        if (!strcmp(words[k], "--hold-ns") && number(value, UINT64_MAX, &read))
            settings->hold_ns = read;
        else if (!strcmp(words[k], "--bandwidth-hz") && number(value, UINT32_MAX, &read))
            settings->bandwidth_hz = (uint32_t)read;
        else if (!strcmp(words[k], "--touched") && !strcmp(value, "high"))
            settings->touched = TRUEONSET_HIGH;
        else if (!strcmp(words[k], "--touched") && !strcmp(value, "low"))
            settings->touched = TRUEONSET_LOW;
        else
            return words[k];
    }
    return NULL;
}

int main(int argc, char **argv)
{
    static char in_room[512], out_room[512];
    TrueonsetSettings settings = {
        .hold_ns = 1000000,
        .tick_hz = TICK_HZ,
        .bandwidth_hz = 100000,
        /* A log holds the nearest nanosecond: nothing to correct. */
        .step_256 = 256,
        .side = TRUEONSET_NEAREST,
        .touched = TRUEONSET_HIGH,
    };
    const char *wrong;
    FILE *log;
    if (!TRUEONSET_FITS())
        return stop("replay", "found the library of another header, expected both of one release; build them anew");
    if (argc < 3)
        return stop("replay", "expected LOG OUT [--hold-ns N] [--touched high|low] [--bandwidth-hz N]");
    wrong = options(argc - 3, argv + 3, &settings);
    if (wrong)
        return stop(wrong, "found no such option, or no value that it takes; expected --hold-ns 1 to 2147483647, "
                           "--bandwidth-hz 0 to 4294967295, --touched high or low");
    if (trueonset_config(&config, &settings) != TRUEONSET_NOTHING)
        return stop("replay", "found other settings, expected a hold of 1 ns to 2.147 s; correct the option");
    log_name = argv[1];
    log = fopen(log_name, "r");
    if (!log)
        return stop(log_name, "found no such file, or no permission; check the path");
    out = fopen(argv[2], "w");
    if (!out)
        return stop(argv[2], "found no permission; check the path and its folder");
    setvbuf(log, in_room, _IOFBF, sizeof in_room);
    setvbuf(out, out_room, _IOFBF, sizeof out_room);
    fputs("line,onset_ns,doubt_ns,first_edge_ns,last_edge_ns,edges,confirmed_ns,release_ns,release_doubt_ns,flags\n", out);
    wrong = replay(log);
    /* A hold that is over by the last row is over, and every row leaves. */
    for (uint8_t k = 0; k < line_count; k++) {
        TrueonsetEvent event;
        uint8_t what = trueonset_line_poll(&lines[k].line, &config, latest, &event);
        if (held_count == HELD)
            settle(latest);
        if ((what == TRUEONSET_TOUCH || what == TRUEONSET_RELEASE) && !note(k, what, &event) && !wrong)
            wrong = "found too many touches that must wait, expected a release; replay the lines one by one";
    }
    leave(0, 1);
    if (wrong)
        stop(log_name, wrong);
    row_number = 0;
    if (fclose(out) != 0)
        return stop(argv[2], "the host does not take the touches; free some space there");
    return wrong ? 2 : 0;
}
