/*
 * write_page SAMPLE a4|letter|html [LOCALE]: the sample on standard output.
 *
 * Beyond 0 and 1 it exits with 10 + the code of a page that was refused, so
 * that the test can tell.  LOCALE is set first, as a hostile host would.
 */
#include <locale.h>
#include <stdio.h>
#include <string.h>

#include "base/arena.h"
#include "samples.h"

static enum rc write_page(const struct print_order_page *page, const char *form,
    struct text *out, struct err *err)
{
    if (strcmp(form, "html") == 0)
        return print_order_html(page, out, err);
    return print_order_pdf(
        page, strcmp(form, "letter") == 0 ? PRINT_LETTER : PRINT_A4, out, err);
}

int main(int argc, char **argv)
{
    struct print_order_page page;
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    TEXT_AUTO out = {0};
    enum rc rc;

    if (argc < 3 || !sample_page(argv[1], &page))
        return 1;
    if (argc > 3 && !setlocale(LC_ALL, argv[3]))
        return 1;
    rc = write_page(&page, argv[2], &out, &err);
    if (rc == RC_OK)
        fwrite(out.data, 1, out.len, stdout);
    else
        fprintf(stderr, "%s\n", err.detail);
    arena_free(arena);
    return rc == RC_OK ? 0 : 10 + (int)rc;
}
