/* Start of a program in C on the emulated boards: vectors, memory, arguments of the host.
 *
 * For a board of your own take the startup file of its vendor; nothing here belongs to the library.
 */
#include <stdint.h>
#include <stdlib.h>

extern uint32_t data_load, data_start, data_end, bss_start, bss_end, stack_top;
extern void initialise_monitor_handles(void);
extern void __libc_init_array(void);
extern int main(int argc, char **argv);

/* Called by the library of C around constructors; there are none here. */
void _init(void) {}
void _fini(void) {}

/* The command line of the host, by its call 0x15, cut at spaces into words. */
static int words(char **argv, int most)
{
    static char text[512];
    struct { char *text; int size; } block = { text, sizeof text };
    register int call __asm__("r0") = 0x15;
    register void *of __asm__("r1") = &block;
    int count = 0;
    char *next = text;
    __asm__ volatile("bkpt 0xab" : "+r"(call) : "r"(of) : "memory");
    while (*next && count < most) {
        argv[count++] = next;
        while (*next && *next != ' ')
            next++;
        while (*next == ' ')
            *next++ = 0;
    }
    return count;
}

/* Where the core begins. */
void board_reset(void)
{
    static char *argv[16];
    uint32_t *from = &data_load;
#ifdef __ARM_FP
    /* The library of C was compiled for the floating-point unit: switch it on. */
    *(volatile uint32_t *)0xE000ED88 |= 0xFu << 20;
    __asm__ volatile("dsb\nisb");
#endif
    for (uint32_t *to = &data_start; to < &data_end;)
        *to++ = *from++;
    for (uint32_t *to = &bss_start; to < &bss_end;)
        *to++ = 0;
    initialise_monitor_handles();
    __libc_init_array();
    exit(main(words(argv, 16), argv));
}

/* A fault ends the program instead of spinning for ever. */
static void fault(void) { _Exit(2); }

__attribute__((section(".vectors"), used)) static const void *const vectors[16] = {
    &stack_top, board_reset, fault, fault, fault, fault, fault, 0, 0, 0, 0, fault, fault, 0, fault, fault,
};
