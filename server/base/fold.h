#pragma once
/*
 * base/fold.h - names made comparable: case, accents and composed letters
 * forgiven (Unicode NFKD, marks removed, full case folding, by glib; strokes
 * removed).
 */
#include <stddef.h>

struct arena;

/* The folded form of UTF-8 text s: words of letters and digits, separated by
 * single spaces ("O'Brien-Ng" -> "o brien ng").  In arena; "" for none. */
char *fold_text(struct arena *arena, const char *s);
