#include "print/view.h"

#include <glib.h>

#include "base/arena.h"
#include "print/figure.h"

const char *print_text_clean(struct arena *arena, const char *s)
{
    TEXT_AUTO clean = {0};
    char *whole, encoded[6];
    bool any = false;

    if (print_empty(s))
        return NULL;
    whole = g_utf8_make_valid(s, -1);
    for (const char *p = whole; *p; p = g_utf8_next_char(p)) {
        gunichar c = g_utf8_get_char(p);

        if (g_unichar_iscntrl(c))
            c = ' ';
        any |= !g_unichar_isspace(c);
        text_put(&clean, encoded, (size_t)g_unichar_to_utf8(c, encoded));
    }
    g_free(whole);
    return any ? arena_memdup(arena, clean.data, clean.len) : NULL;
}

static void add(struct print_cells *cells, const char *label, const char *text,
    const char *said)
{
    g_assert(cells->n < PRINT_CELLS_MAX);
    cells->of[cells->n++] = (struct print_cell){label, text, said};
}

static struct print_strings clean_strings(
    struct arena *arena, struct print_strings in)
{
    const char **of = arena_calloc(arena, in.n, sizeof(*of));
    struct print_strings out = {.n = 0, .of = of};

    for (size_t i = 0; i < in.n; i++) {
        const char *s = print_text_clean(arena, in.of[i]);

        if (s)
            of[out.n++] = s;
    }
    return out;
}

static const char *joined(struct arena *arena, struct print_strings strings)
{
    const char *all = NULL;

    for (size_t i = 0; i < strings.n; i++)
        all = all ? arena_printf(arena, "%s; %s", all, strings.of[i])
                  : strings.of[i];
    return all;
}

static void put_head(struct print_view *view, struct arena *arena,
    const struct print_order_page *page)
{
    static const char *const MAKES[] = {[PRINT_PAIR] = "both lenses",
        [PRINT_RIGHT_ONLY] = "right lens only",
        [PRINT_LEFT_ONLY] = "left lens only"};
    const char *number = print_text_clean(arena, page->order_number);
    const char *replaces = print_text_clean(arena, page->replaces);
    int of = page->pages ? (int)page->pages : 1;

    view->number = number ? number : print_text_clean(arena, page->order_id);
    view->title = arena_printf(arena, "Order %s, version %d",
        print_text_clean(arena, page->order_id), (int)page->version);
    view->version = arena_printf(arena, "version %d, page %d of %d",
        (int)page->version, page->page ? (int)page->page : 1, of);
    view->not_to_be_made = print_text_clean(arena, page->not_to_be_made);
    view->replaces_any = replaces != NULL;
    view->replaces = replaces ? arena_printf(arena, "REPLACES %s", replaces)
                              : "replaces nothing";
    view->changes = joined(arena, clean_strings(arena, page->changes));
    add(&view->head, "make", MAKES[page->make], NULL);
    add(&view->head, "priority", print_text_clean(arena, page->priority), NULL);
    add(&view->head, "signed", print_figure_date(arena, page->signed_on), NULL);
    add(&view->head, "expires", print_figure_date(arena, page->expires_on),
        NULL);
    add(&view->head, "purpose", print_text_clean(arena, page->purpose), NULL);
}

static void put_people(struct print_cells *cells, struct arena *arena,
    const struct print_order_page *page)
{
    add(cells, "patient", print_text_clean(arena, page->patient), NULL);
    add(cells, "record no.", print_text_clean(arena, page->record_number),
        NULL);
    add(cells, "born", print_figure_date(arena, page->born), NULL);
    add(cells, "prescriber", print_text_clean(arena, page->prescriber), NULL);
    add(cells, "licence", print_text_clean(arena, page->licence), NULL);
    add(cells, "address", print_text_clean(arena, page->address), NULL);
    add(cells, "clinic", print_text_clean(arena, page->clinic), NULL);
    add(cells, "network", print_text_clean(arena, page->network), NULL);
    add(cells, "lab", print_text_clean(arena, page->lab), NULL);
    add(cells, "deliver to", print_text_clean(arena, page->deliver_to), NULL);
}

static void put_other_form(struct print_eye_view *view, struct arena *arena,
    const struct print_eye *eye)
{
    struct print_form form = {eye->sphere_cd, eye->cylinder_cd, eye->axis_deg};
    struct print_form other;

    if (eye->sphere_cd == PRINT_ABSENT)
        return;
    if (eye->cylinder_cd == PRINT_ABSENT || eye->cylinder_cd == 0) {
        view->other.label =
            "no cylinder: the same lens in plus and in minus cylinder";
        return;
    }
    other = print_figure_other(form);
    view->other.label = other.cylinder_cd > 0
                            ? "the same lens written in plus cylinder"
                            : "the same lens written in minus cylinder";
    view->other.text = print_figure_form(arena, other);
    view->other.said = print_said_form(arena, other);
    view->axis_deg = eye->axis_deg;
}

static void put_power(struct print_eye_view *view, struct arena *arena,
    const struct print_eye *eye)
{
    int32_t cylinder_cd = eye->cylinder_cd ? eye->cylinder_cd : PRINT_ABSENT;

    view->sphere.text = print_figure_power(arena, eye->sphere_cd);
    view->sphere.said = print_said_power(arena, eye->sphere_cd);
    view->cylinder.text = print_figure_power(arena, cylinder_cd);
    view->cylinder.said = print_said_power(arena, cylinder_cd);
    view->axis.text = print_figure_axis(arena, eye->axis_deg);
    view->axis.said = print_said_axis(arena, eye->axis_deg);
    view->add.text = print_figure_power(arena, eye->add_cd);
    view->add.said = print_said_power(arena, eye->add_cd);
    put_other_form(view, arena, eye);
}

static void put_details(
    struct print_cells *cells, struct arena *arena, const struct print_eye *eye)
{
    add(cells, "prism", print_figure_prisms(arena, &eye->prism), NULL);
    add(cells, "near prism", print_figure_prisms(arena, &eye->near_prism),
        NULL);
    add(cells, "PD far", print_figure_length(arena, eye->pd_far_mm100),
        print_said_length(arena, eye->pd_far_mm100));
    add(cells, "PD near", print_figure_length(arena, eye->pd_near_mm100),
        print_said_length(arena, eye->pd_near_mm100));
    add(cells, "fitting height",
        print_figure_length(arena, eye->fitting_height_mm100),
        print_said_length(arena, eye->fitting_height_mm100));
    add(cells, "intermediate add",
        print_figure_power(arena, eye->intermediate_add_cd),
        print_said_power(arena, eye->intermediate_add_cd));
}

static void put_eye(struct print_eye_view *view, struct arena *arena,
    const struct print_order_page *page, enum print_side side)
{
    static const char *const LENSES[] = {[PRINT_POWER] = NULL,
        [PRINT_BALANCE] = "balance lens",
        [PRINT_OCCLUDER] = "occluder",
        [PRINT_PROSTHESIS] = "prosthesis",
        [PRINT_NO_LENS] = "no lens"};
    enum print_make without =
        side == PRINT_RIGHT ? PRINT_LEFT_ONLY : PRINT_RIGHT_ONLY;

    view->letter = side == PRINT_RIGHT ? "R" : "L";
    view->word = side == PRINT_RIGHT ? "right" : "left";
    view->axis_deg = PRINT_ABSENT;
    view->sphere.label = "sphere";
    view->cylinder.label = "cylinder";
    view->axis.label = "axis";
    view->add.label = "add";
    if (page->make == without) {
        view->instead = "not ordered";
        return;
    }
    view->instead = LENSES[page->eye[side].lens];
    if (!view->instead)
        put_power(view, arena, &page->eye[side]);
    put_details(&view->details, arena, &page->eye[side]);
}

static void put_both(struct print_cells *cells, struct arena *arena,
    const struct print_order_page *page)
{
    add(cells, "powers at vertex",
        print_figure_length(arena, page->vertex_mm100),
        print_said_length(arena, page->vertex_mm100));
    add(cells, "PD far", print_figure_length(arena, page->pd_far_mm100),
        print_said_length(arena, page->pd_far_mm100));
    add(cells, "PD near", print_figure_length(arena, page->pd_near_mm100),
        print_said_length(arena, page->pd_near_mm100));
}

static void put_glasses(struct print_view *view, struct arena *arena,
    const struct print_order_page *page)
{
    const struct {
        const char *label;
        int32_t mm100;
    } lengths[] = {{"A", page->a_mm100}, {"B", page->b_mm100},
        {"DBL", page->dbl_mm100}, {"ED", page->ed_mm100},
        {"worn vertex", page->worn_vertex_mm100}};

    add(&view->lens, "design", print_text_clean(arena, page->design), NULL);
    add(&view->lens, "material", print_text_clean(arena, page->material), NULL);
    add(&view->lens, "index", print_figure_index(arena, page->index_milli),
        NULL);
    add(&view->lens, "treatments", print_text_clean(arena, page->treatments),
        NULL);
    add(&view->lens, "tint", print_text_clean(arena, page->tint), NULL);
    for (size_t i = 0; i < ARRAY_LEN(lengths); i++)
        add(&view->frame, lengths[i].label,
            print_figure_length(arena, lengths[i].mm100),
            print_said_length(arena, lengths[i].mm100));
    add(&view->frame, "tilt", print_figure_angle(arena, page->tilt_cdeg), NULL);
    add(&view->frame, "wrap", print_figure_angle(arena, page->wrap_cdeg), NULL);
    add(&view->frame, "supply", print_text_clean(arena, page->supply), NULL);
}

struct print_view *print_view_new(
    struct arena *arena, const struct print_order_page *page)
{
    struct print_view *view = arena_calloc(arena, 1, sizeof(*view));

    put_head(view, arena, page);
    put_people(&view->people, arena, page);
    put_eye(&view->eye[PRINT_RIGHT], arena, page, PRINT_RIGHT);
    put_eye(&view->eye[PRINT_LEFT], arena, page, PRINT_LEFT);
    put_both(&view->both, arena, page);
    put_glasses(view, arena, page);
    view->check.label = "check word";
    view->check.text = print_text_clean(arena, page->check_word);
    view->check_note = "covers all optical figures here: typed again, they "
                       "must give the same word";
    view->code = print_empty(page->code) ? NULL : page->code;
    view->cautions = clean_strings(arena, page->cautions);
    view->notes = clean_strings(arena, page->notes);
    view->aid = "Computed values aid and do not replace the judgement of a "
                "licensed practitioner. Local rules on prescriptions, records "
                "and dispensing come first.";
    view->legal = print_text_clean(arena, page->legal);
    return view;
}
