#pragma once
/*
 * base/arena.h - memory that is given back all at once.
 *
 * Never returns NULL: when the system has no memory the process ends, because
 * nothing useful can be answered then and nothing acknowledged is lost.
 * Builds with sanitizers make every piece a malloc of its own, so that tools
 * see each edge.  One thread at a time.
 */
#include <stdarg.h>
#include <stddef.h>

struct arena;

struct arena *arena_new(void);
void arena_free(struct arena *arena);  /* NULL is a no-op */
void arena_reset(struct arena *arena); /* frees the pieces, keeps the arena */

/* size bytes, aligned for any type, not cleared. */
void *arena_alloc(struct arena *arena, size_t size)
    __attribute__((malloc, returns_nonnull));

/* n * size bytes of zeros; n and size may come from outside. */
void *arena_calloc(struct arena *arena, size_t n, size_t size)
    __attribute__((malloc, returns_nonnull));

/* A list of n items of size, with room for one more: items itself, or a copy
 * of it in twice the room (*room; 0 at first) and zeros behind. */
void *arena_grow(
    struct arena *arena, void *items, size_t n, size_t *room, size_t size);

char *arena_strdup(struct arena *arena, const char *s);
/* len bytes of s and a closing NUL. */
char *arena_memdup(struct arena *arena, const void *s, size_t len);
char *arena_printf(struct arena *arena, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
char *arena_vprintf(struct arena *arena, const char *fmt, va_list ap)
    __attribute__((format(printf, 2, 0), nonnull(2)));

/* Outside an arena: malloc and friends that end the process on no memory. */
void *xmalloc(size_t size) __attribute__((malloc, returns_nonnull));
void *xcalloc(size_t n, size_t size) __attribute__((malloc, returns_nonnull));
void *xrealloc(void *p, size_t size) __attribute__((returns_nonnull));
char *xstrdup(const char *s) __attribute__((malloc, returns_nonnull));

#define ARRAY_LEN(a) (sizeof(a) / sizeof((a)[0]))
