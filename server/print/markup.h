#pragma once
/*
 * print/markup.h - text inside HTML.
 */
struct text;

/* Appends s so that it reads as s between tags and in a quoted attribute: & < >
 * " ' become references.  s is valid UTF-8 without control characters, as
 * print_text_clean leaves it. */
void markup_text(struct text *out, const char *s);
