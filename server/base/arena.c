#include "base/arena.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#if defined(__SANITIZE_ADDRESS__) || defined(LENS_ARENA_PIECES)
#define BLOCK_SIZE 0 /* every piece its own malloc */
#else
#define BLOCK_SIZE 8000
#endif

struct block {
    struct block *next;
    size_t used, size;
    _Alignas(max_align_t) unsigned char data[];
};

struct arena {
    struct block *blocks;
};

static void no_memory(void)
{
    static const char text[] = "out of memory\n";

    fwrite(text, 1, sizeof(text) - 1, stderr);
    abort();
}

void *xmalloc(size_t size)
{
    void *p = malloc(size ? size : 1);

    if (!p)
        no_memory();
    return p;
}

void *xcalloc(size_t n, size_t size)
{
    void *p = calloc(n ? n : 1, size ? size : 1);

    if (!p)
        no_memory();
    return p;
}

void *xrealloc(void *old, size_t size)
{
    void *p = realloc(old, size ? size : 1);

    if (!p)
        no_memory();
    return p;
}

char *xstrdup(const char *s)
{
    size_t len = strlen(s) + 1;

    return memcpy(xmalloc(len), s, len);
}

struct arena *arena_new(void)
{
    return xcalloc(1, sizeof(struct arena));
}

void arena_reset(struct arena *arena)
{
    struct block *b = arena->blocks;

    while (b) {
        struct block *next = b->next;

        free(b);
        b = next;
    }
    arena->blocks = NULL;
}

void arena_free(struct arena *arena)
{
    if (!arena)
        return;
    arena_reset(arena);
    free(arena);
}

static struct block *add_block(struct arena *arena, size_t need)
{
    size_t size = need > BLOCK_SIZE / 4 ? need : BLOCK_SIZE;
    struct block *b = xmalloc(sizeof(*b) + size);

    b->used = 0;
    b->size = size;
    /* A big piece goes behind the block that still has room. */
    if (arena->blocks && size == need && BLOCK_SIZE != 0) {
        b->next = arena->blocks->next;
        arena->blocks->next = b;
    } else {
        b->next = arena->blocks;
        arena->blocks = b;
    }
    return b;
}

void *arena_alloc(struct arena *arena, size_t size)
{
    size_t step = _Alignof(max_align_t);
    struct block *b = arena->blocks;
    size_t need;
    void *p;

    if (size > SIZE_MAX / 4)
        no_memory();
    need = (size + step - 1) / step * step;
    if (!need)
        need = step;
    if (!BLOCK_SIZE)
        need = size ? size : 1;
    if (!b || b->size - b->used < need)
        b = add_block(arena, need);
    p = b->data + b->used;
    b->used += need;
    return p;
}

void *arena_calloc(struct arena *arena, size_t n, size_t size)
{
    void *p;

    if (size && n > SIZE_MAX / 4 / size)
        no_memory();
    p = arena_alloc(arena, n * size);
    return memset(p, 0, n * size);
}

void *arena_grow(
    struct arena *arena, void *items, size_t n, size_t *room, size_t size)
{
    void *more;

    if (n < *room)
        return items;
    *room = n ? 2 * n : 8;
    more = arena_calloc(arena, *room, size);
    return n ? memcpy(more, items, n * size) : more;
}

char *arena_memdup(struct arena *arena, const void *s, size_t len)
{
    char *p = arena_alloc(arena, len + 1);

    if (len)
        memcpy(p, s, len);
    p[len] = '\0';
    return p;
}

char *arena_strdup(struct arena *arena, const char *s)
{
    return arena_memdup(arena, s, strlen(s));
}

char *arena_vprintf(struct arena *arena, const char *fmt, va_list ap)
{
    char most[256]; /* most texts fit and are formatted once */
    va_list again;
    int len;
    char *p;

    va_copy(again, ap);
    len = vsnprintf(most, sizeof(most), fmt, again);
    va_end(again);
    if (len < 0)
        no_memory();
    if ((size_t)len < sizeof(most))
        return arena_memdup(arena, most, (size_t)len);
    p = arena_alloc(arena, (size_t)len + 1);
    vsnprintf(p, (size_t)len + 1, fmt, ap);
    return p;
}

char *arena_printf(struct arena *arena, const char *fmt, ...)
{
    va_list ap;
    char *p;

    va_start(ap, fmt);
    p = arena_vprintf(arena, fmt, ap);
    va_end(ap);
    return p;
}
