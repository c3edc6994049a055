/* Start of a program in C on the emulated RISC-V of 32 bits, and its library of C: see rv32.h. */
#include <limits.h>
#include <stdint.h>

#include "rv32.h"

/* A call of the host, as its specification for RISC-V has it (semihosting). */
enum { OPEN = 1, CLOSE = 2, WRITE_BYTE = 3, WRITE = 5, READ = 6, COMMAND_LINE = 0x15, EXIT = 0x20 };

static intptr_t host(intptr_t call, const void *of)
{
    register intptr_t a0 __asm__("a0") = call;
    register const void *a1 __asm__("a1") = of;
    __asm__ volatile(".option push\n.option norvc\n.balign 16\nslli x0, x0, 0x1f\nebreak\nsrai x0, x0, 7\n.option pop"
                     : "+r"(a0) : "r"(a1) : "memory");
    return a0;
}

static _Noreturn void leave(int status)
{
    /* That the program has ended by itself, and how. */
    intptr_t block[] = { 0x20026, status };
    for (;;)
        host(EXIT, block);
}

struct file {
    intptr_t handle;
    int writes, over, bad;
    size_t next, have;
    unsigned char room[512];
};

static FILE console = { .handle = -1, .writes = 1 }, opened[2];
FILE *const stderr = &console;
int errno;

static void flush(FILE *file)
{
    intptr_t block[] = { file->handle, (intptr_t)file->room, (intptr_t)file->have };
    if (file->handle >= 0 && file->have > 0 && host(WRITE, block) != 0)
        file->bad = 1;
    file->have = 0;
}

int fputc(int byte, FILE *file)
{
    unsigned char one = (unsigned char)byte;
    if (file->handle < 0) {
        host(WRITE_BYTE, &one);
        return byte;
    }
    if (file->have == sizeof file->room)
        flush(file);
    file->room[file->have++] = one;
    return byte;
}

static int get(FILE *file)
{
    if (file->next == file->have) {
        intptr_t block[] = { file->handle, (intptr_t)file->room, sizeof file->room };
        /* The host says how many bytes were not read. */
        intptr_t missing = host(READ, block);
        file->next = 0;
        file->have = missing < 0 ? 0 : sizeof file->room - (size_t)missing;
    }
    if (file->have == 0) {
        file->over = 1;
        return -1;
    }
    return file->room[file->next++];
}

FILE *fopen(const char *path, const char *mode)
{
    int writes = *mode == 'w';
    FILE *file = &opened[writes];
    intptr_t block[] = { (intptr_t)path, writes ? 4 : 0, (intptr_t)strlen(path) };
    memset(file, 0, sizeof *file);
    file->writes = writes;
    file->handle = host(OPEN, block);
    return file->handle < 0 ? NULL : file;
}

int fclose(FILE *file)
{
    if (file->writes)
        flush(file);
    return host(CLOSE, &file->handle) != 0 || file->bad ? -1 : 0;
}

int feof(FILE *file) { return file->over; }
int setvbuf(FILE *file, char *room, int mode, size_t size) { return (void)file, (void)room, mode - (int)size; }

int fputs(const char *text, FILE *file)
{
    while (*text)
        fputc(*text++, file);
    return 0;
}

int puts(const char *text) { return fputs(text, stderr), fputc('\n', stderr); }

char *fgets(char *text, int room, FILE *file)
{
    int count = 0, byte = 0;
    while (count < room - 1 && byte != '\n' && (byte = get(file)) >= 0)
        text[count++] = (char)byte;
    text[count] = 0;
    return count > 0 ? text : NULL;
}

static void digits(unsigned long long value, FILE *file)
{
    if (value > 9)
        digits(value / 10, file);
    fputc('0' + (int)(value % 10), file);
}

/* %s, %d, %u, %lu, %lld, %llu */
static int print(FILE *file, const char *format, va_list values)
{
    for (; *format; format++) {
        int longs = 0;
        long long number;
        if (*format != '%') {
            fputc(*format, file);
            continue;
        }
        while (*++format == 'l')
            longs++;
        if (*format == 's') {
            fputs(va_arg(values, const char *), file);
        } else if (*format == 'u') {
            digits(longs > 1 ? va_arg(values, unsigned long long) : va_arg(values, unsigned long), file);
        } else if (*format == 'd') {
            number = longs > 1 ? va_arg(values, long long) : va_arg(values, long);
            if (number < 0)
                fputc('-', file);
            digits(number < 0 ? 0 - (unsigned long long)number : (unsigned long long)number, file);
        } else {
            fputs("a format that is not used", stderr);
            leave(3);
        }
    }
    return 0;
}

int fprintf(FILE *file, const char *format, ...)
{
    va_list values;
    va_start(values, format);
    print(file, format, values);
    va_end(values);
    return 0;
}

int printf(const char *format, ...)
{
    va_list values;
    va_start(values, format);
    print(stderr, format, values);
    va_end(values);
    return 0;
}

/* Digits up to `most`, with `errno` beyond; to the base of ten, whatever `base` is. */
static unsigned long long number(const char *text, char **end, unsigned long long most)
{
    unsigned long long value = 0;
    const char *next = text;
    for (; *next >= '0' && *next <= '9'; next++) {
        unsigned digit = (unsigned)(*next - '0');
        if (value > (most - digit) / 10)
            errno = 1;
        value = value * 10 + digit;
    }
    *end = (char *)next;
    return value;
}

unsigned long long strtoull(const char *text, char **end, int base)
{
    return (void)base, number(text, end, ULLONG_MAX);
}

long long strtoll(const char *text, char **end, int base)
{
    int minus = *text == '-', sign = minus || *text == '+';
    unsigned long long value = number(text + sign, end, (unsigned long long)LLONG_MAX + (unsigned)minus);
    (void)base;
    if (*end == text + sign)
        *end = (char *)text;
    return (long long)(minus ? 0 - value : value);
}

void *memmove(void *to, const void *from, size_t size)
{
    unsigned char *target = to;
    const unsigned char *source = from;
    if (target < source)
        while (size--)
            *target++ = *source++;
    else
        while (size--)
            target[size] = source[size];
    return to;
}

void *memcpy(void *to, const void *from, size_t size) { return memmove(to, from, size); }

void *memset(void *to, int byte, size_t size)
{
    for (unsigned char *target = to; size--;)
        *target++ = (unsigned char)byte;
    return to;
}

int memcmp(const void *one, const void *other, size_t size)
{
    const unsigned char *left = one, *right = other;
    for (; size--; left++, right++)
        if (*left != *right)
            return *left < *right ? -1 : 1;
    return 0;
}

size_t strlen(const char *text)
{
    size_t length = 0;
    while (text[length])
        length++;
    return length;
}

int strcmp(const char *one, const char *other)
{
    size_t left = strlen(one), right = strlen(other);
    return memcmp(one, other, (left < right ? left : right) + 1);
}

char *strcpy(char *to, const char *from) { return memcpy(to, from, strlen(from) + 1); }

char *strchr(const char *text, int byte)
{
    for (; *text != (char)byte; text++)
        if (!*text)
            return NULL;
    return (char *)text;
}

size_t strcspn(const char *text, const char *stops)
{
    size_t length = 0;
    while (text[length] && !strchr(stops, text[length]))
        length++;
    return length;
}

extern int main(int argc, char **argv);

/* Behind the first instructions: memory is zero, as the emulator makes it, and data lies in it. */
__attribute__((used)) static void begin(void)
{
    static char text[512], *argv[16];
    intptr_t block[] = { (intptr_t)text, sizeof text };
    int argc = 0;
    host(COMMAND_LINE, block);
    for (char *next = text; *next && argc < 16;) {
        argv[argc++] = next;
        next += strcspn(next, " ");
        while (*next == ' ')
            *next++ = 0;
    }
    leave(main(argc, argv));
}

__attribute__((used)) static void fault(void) { leave(4); }

__asm__(".section .first, \"ax\"\n.option push\n.option arch, +zicsr\n"
        "la sp, stack_top\nla t0, trap\ncsrw mtvec, t0\nj begin\n"
        ".balign 4\ntrap: j fault\n.option pop\n.text\n");
