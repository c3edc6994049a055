/* As much of the library of C as the programs of the test call, for a machine that has none: the one
 * that Debian has for RISC-V is a gigabyte. Every standard header is this one; see rv32.c.
 */
#ifndef RV32_H
#define RV32_H

#include <stdarg.h>
#include <stddef.h>

/* `stdio.h`: no positions, and one format after the other as they are used. */
typedef struct file FILE;
extern FILE *const stderr;
enum { _IOFBF };
FILE *fopen(const char *path, const char *mode);
int fclose(FILE *file);
int feof(FILE *file);
int fputc(int byte, FILE *file);
int fputs(const char *text, FILE *file);
char *fgets(char *text, int room, FILE *file);
int fprintf(FILE *file, const char *format, ...);
int printf(const char *format, ...);
int puts(const char *text);
int setvbuf(FILE *file, char *room, int mode, size_t size);

/* `stdlib.h` and `errno.h` */
extern int errno;
long long strtoll(const char *text, char **end, int base);
unsigned long long strtoull(const char *text, char **end, int base);

/* `string.h` */
void *memcpy(void *to, const void *from, size_t size);
void *memmove(void *to, const void *from, size_t size);
void *memset(void *to, int byte, size_t size);
int memcmp(const void *one, const void *other, size_t size);
size_t strlen(const char *text);
int strcmp(const char *one, const char *other);
char *strcpy(char *to, const char *from);
char *strchr(const char *text, int byte);
size_t strcspn(const char *text, const char *stops);

#endif
