/* record/step.h: what a step does, what it refuses, and how it is undone. */
#include <check.h>
#include <string.h>

#include "base/arena.h"
#include "exam_case.h"

#define EYE_R                                                                  \
    "'right':{'lens':'power','sphere':-2.25,'cylinder':-0.50,'axis':90"
#define START "{" EYE_R "},'left':{'sphere':-1}}"

/* working: what stands; step: the request; then what stands after, or the
 * fault. */
static const struct {
    const char *why, *working, *step, *want;
} APPLY[] = {
    {"a sphere moves", "{'right':{'sphere':-2.25}}",
        "{'eye':'right','field':'sphere','from':-2.25,'to':-2.5,"
        "'test':'duochrome'}",
        "{'right':{'lens':'power','sphere':-2.50,'cylinder':0.00,'axis':null}"
        "}"},
    {"the first sphere makes the eye", "{}",
        "{'eye':'left','field':'sphere','from':null,'to':-1}",
        "{'left':{'lens':'power','sphere':-1.00,'cylinder':0.00,'axis':null}}"},
    {"a first cylinder brings its axis", "{'right':{'sphere':-2}}",
        "{'eye':'right','field':'cylinder','from':0,'to':-0.5,'axis':10}",
        "{'right':{'lens':'power','sphere':-2.00,'cylinder':-0.50,'axis':10}}"},
    {"without one it stands at 180", "{'right':{'sphere':0}}",
        "{'eye':'right','field':'cylinder','from':0,'to':-0.5}",
        "{'right':{'lens':'power','sphere':0.00,'cylinder':-0.50,'axis':180}"
        "}"},
    {"a cylinder that stands keeps its axis",
        "{'right':{'sphere':0,'cylinder':-0.5,'axis':33}}",
        "{'eye':'right','field':'cylinder','from':-0.5,'to':-0.75}",
        "{'right':{'lens':'power','sphere':0.00,'cylinder':-0.75,'axis':33}"
        "}"},
    /* S + C/2: -2.25 before; -2.125 (written -2.12) - 0.25/2 after */
    {"the equivalent is held", "{'right':{'sphere':-2.25}}",
        "{'eye':'right','field':'cylinder','from':0,'to':-0.25,'axis':10,"
        "'hold_equivalent':true}",
        "{'right':{'lens':'power','sphere':-2.12,'cylinder':-0.25,'axis':10}}"},
    /* -2.125 - 0.25 / 2 = -2.25 = -2.00 - 0.50 / 2 */
    {"and stays exact over two eighths",
        "{'right':{'sphere':-2.12,'cylinder':-0.25,'axis':10}}",
        "{'eye':'right','field':'cylinder','from':-0.25,'to':-0.5,"
        "'hold_equivalent':true}",
        "{'right':{'lens':'power','sphere':-2.00,'cylinder':-0.50,'axis':10}}"},
    /* -2.00 -0.50 x 90 is -2.50 +0.50 x 180; +0.75 there is -1.75 -0.75 x 90 */
    {"a plus cylinder is a plus cylinder",
        "{'right':{'sphere':-2,'cylinder':-0.5,'axis':90}}",
        "{'eye':'right','field':'cylinder','form':'plus','from':0.5,'to':0.75}",
        "{'right':{'lens':'power','sphere':-1.75,'cylinder':-0.75,'axis':90}}"},
    {"its axis is its own", "{'right':{'sphere':-2,'cylinder':-0.5,'axis':90}}",
        "{'eye':'right','field':'axis','form':'plus','from':180,'to':5}",
        "{'right':{'lens':'power','sphere':-2.00,'cylinder':-0.50,'axis':95}}"},
    {"a cylinder of nothing has no axis",
        "{'right':{'sphere':-2,'cylinder':-0.5,'axis':90}}",
        "{'eye':'right','field':'cylinder','from':-0.5,'to':0}",
        "{'right':{'lens':'power','sphere':-2.00,'cylinder':0.00,'axis':null}"
        "}"},
    {"both eyes, each from its own",
        "{'right':{'sphere':-2},'left':{'sphere':-1}}",
        "{'eye':'both','field':'sphere','from':{'right':-2,'left':-1},"
        "'to':{'right':-1.75,'left':-0.75},'test':'fogging'}",
        "{'right':{'lens':'power','sphere':-1.75,'cylinder':0.00,'axis':null},"
        "'left':{'lens':'power','sphere':-0.75,'cylinder':0.00,'axis':null}}"},
    {"an add for both", "{'right':{'sphere':0},'left':{'sphere':0}}",
        "{'eye':'both','field':'add','from':null,'to':1.5,'test':'near'}",
        "{'right':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null,"
        "'add':1.50},'left':{'lens':'power','sphere':0.00,'cylinder':0.00,"
        "'axis':null,'add':1.50}}"},
    {"prism has a base", "{'right':{'sphere':0}}",
        "{'eye':'right','field':'prism_horizontal','from':null,"
        "'to':{'amount':1.5,'base':'out'}}",
        "{'right':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null,"
        "'prism':[{'amount':1.50,'base':'out'}]}}"},
    {"and can go",
        "{'right':{'sphere':0,'prism':[{'amount':1.5,'base':'up'}]}}",
        "{'eye':'right','field':'prism_vertical','from':{'amount':1.5,"
        "'base':'up'},'to':null}",
        "{'right':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null}}"},
    {"a whole prism", "{'right':{'sphere':0}}",
        "{'eye':'right','field':'prism','from':null,"
        "'to':[{'amount':1.5,'base':'out'},{'amount':60,'base':'down'}]}",
        "{'right':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null,"
        "'prism':[{'amount':1.50,'base':'out'},{'amount':60.00,'base':'down'}]"
        "}}"},
    {"one part replaces the whole",
        "{'right':{'sphere':0,'prism':[{'amount':60,'base':'in'},"
        "{'amount':1,'base':'up'}]}}",
        "{'eye':'right','field':'prism','from':[{'amount':1,'base':'up'},"
        "{'amount':60,'base':'in'}],'to':{'amount':2,'base':'down'}}",
        "{'right':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null,"
        "'prism':[{'amount':2.00,'base':'down'}]}}"},
    {"and nothing takes it away",
        "{'right':{'sphere':0,'prism':[{'amount':1,'base':'up'}]}}",
        "{'eye':'right','field':'prism','from':{'amount':1,'base':'up'},"
        "'to':null}",
        "{'right':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null}}"},
    {"each eye has its prism", "{'right':{'sphere':0},'left':{'sphere':0}}",
        "{'eye':'both','field':'prism','from':null,'to':{"
        "'right':[{'amount':1,'base':'in'}],'left':{'amount':2,'base':'up'}}}",
        "{'right':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null,"
        "'prism':[{'amount':1.00,'base':'in'}]},'left':{'lens':'power',"
        "'sphere':0.00,'cylinder':0.00,'axis':null,"
        "'prism':[{'amount':2.00,'base':'up'}]}}"},
    {"a whole prism is said in words",
        "{'left':{'sphere':0,'prism':[{'amount':1,'base':'in'},"
        "{'amount':2,'base':'up'}]}}",
        "{'eye':'left','field':'prism','from':null,'to':null}",
        "/from prism of the left eye stands at 1.00 base in and 2.00 base up, "
        "not at nothing\n"},
    {"a balance lens has no figures", "{'right':{'sphere':-2,'add':1}}",
        "{'eye':'right','field':'lens','from':'power','to':'balance'}",
        "{'right':{'lens':'balance'}}"},
    {"the vertex is of both", "{'right':{'sphere':-2}}",
        "{'eye':'both','field':'vertex_mm','from':null,'to':12.5}",
        "{'right':{'lens':'power','sphere':-2.00,'cylinder':0.00,'axis':null},"
        "'vertex_mm':12.50}"},

    {"near prism", "{'left':{'sphere':0}}",
        "{'eye':'left','field':'near_prism_horizontal','from':null,"
        "'to':{'amount':2,'base':'in'}}",
        "{'left':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null,"
        "'near_prism':[{'amount':2.00,'base':'in'}]}}"},
    {"near prism, vertical", "{'left':{'sphere':0}}",
        "{'eye':'left','field':'near_prism_vertical','from':null,"
        "'to':{'amount':2,'base':'down'}}",
        "{'left':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null,"
        "'near_prism':[{'amount':2.00,'base':'down'}]}}"},
    {"an intermediate add", "{'left':{'sphere':0,'add':2}}",
        "{'eye':'left','field':'intermediate_add','from':null,'to':1}",
        "{'left':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null,"
        "'add':2.00,'intermediate_add':1.00}}"},
    {"a prism of nothing is none", "{'left':{'sphere':0}}",
        "{'eye':'left','field':'prism_vertical','from':null,"
        "'to':{'amount':0,'base':'down'}}",
        "{'left':{'lens':'power','sphere':0.00,'cylinder':0.00,'axis':null}}"},

    {"an add needs a power", "{}",
        "{'eye':'left','field':'add','from':null,'to':1}",
        "/field the left eye has no power yet; start with its sphere\n"},
    {"a prism is said in words",
        "{'left':{'sphere':0,'prism':[{'amount':1,'base':'up'}]}}",
        "{'eye':'left','field':'prism_vertical','from':null,"
        "'to':{'amount':1,'base':'down'}}",
        "/from prism_vertical of the left eye stands at 1.00 base up, not at "
        "nothing\n"},
    {"so is a lens", "{'left':{'lens':'occluder'}}",
        "{'eye':'left','field':'lens','from':'power','to':'none'}",
        "/from lens of the left eye stands at occluder, not at power\n"},
    {"and an axis", "{'left':{'sphere':0,'cylinder':-1,'axis':5}}",
        "{'eye':'left','field':'axis','from':6,'to':7}",
        "/from axis of the left eye stands at 5, not at 6\n"},
    {"from must stand", "{'right':{'sphere':-2.5}}",
        "{'eye':'right','field':'sphere','from':-2.25,'to':-2.75}",
        "/from sphere of the right eye stands at -2.50, not at -2.25\n"},
    {"null is not zero", "{'right':{'sphere':0}}",
        "{'eye':'right','field':'sphere','from':null,'to':-0.25}",
        "/from sphere of the right eye stands at 0.00, not at nothing\n"},
    {"an axis needs a cylinder", "{'right':{'sphere':0}}",
        "{'eye':'right','field':'axis','from':null,'to':90}",
        "/field the right eye has no cylinder that an axis could belong to\n"},
    {"a balance lens has no sphere", "{'right':{'lens':'balance'}}",
        "{'eye':'right','field':'sphere','from':null,'to':-1}",
        "/field the lens of the right eye is \"balance\" and has no power\n"},
    {"beyond what is recorded",
        "{'right':{'sphere':-30,'cylinder':-9.75,"
        "'axis':90}}",
        "{'eye':'right','field':'cylinder','from':-9.75,'to':-10.25}",
        "/to gives a lens with a meridian of 40.25 D, which is beyond what can "
        "be recorded\n"},
};

START_TEST(step_does_what_it_says)
{
    struct err err = ERR_INIT(ARENA);
    struct record_refraction r = exam_refraction(APPLY[_i].working);
    struct record_step step;
    enum rc rc = RC_INVALID;

    if (record_step_read(json_in_root(exam_json(APPLY[_i].step), &err), &step))
        rc = record_step_apply(&step, &r, &err);
    if (APPLY[_i].want[0] == '/')
        ck_assert_msg(
            rc != RC_OK && strcmp(exam_faults(&err), APPLY[_i].want) == 0,
            "%s: %s", APPLY[_i].why, exam_faults(&err));
    else
        ck_assert_msg(
            rc == RC_OK && strcmp(exam_written(&r), APPLY[_i].want) == 0,
            "%s: %s%s", APPLY[_i].why, exam_written(&r), exam_faults(&err));
}
END_TEST

static const struct {
    const char *step, *pointers; /* of all faults, blank between */
} WRONG[] = {
    {"{}", "/eye /field /to"},
    {"{'eye':'x','field':'y','from':'a','zz':1}", "/zz /eye /field /from /to"},
    {"{'eye':'x','field':'sphere','from':'a','to':99,'test':'guess'}",
        "/eye /test /from /to"},
    {"{'eye':'right','field':'y','from':null,'to':true,'form':'x'}",
        "/form /field /to"},
    {"{'eye':'right','field':'sphere','from':41}", "/from /to"},
    {"{'eye':'right','field':'prism','from':null,'to':1}", "/to"},
    {"{'eye':'right','field':'prism','from':null,'to':[{'amount':1,"
     "'base':'in'},{'amount':1,'base':'out'}]}",
        "/to/1/base"},
    {"{'eye':'top','field':'sphere','from':0,'to':1}", "/eye"},
    {"{'eye':'right','field':'sphere','from':0}", "/to"},
    {"{'eye':'right','field':'sphere','from':0,'to':-0.255}", "/to"},
    {"{'eye':'right','field':'sphere','from':0,'to':41,'test':'guess'}",
        "/test /to"},
    {"{'eye':'right','field':'cylinder','from':0,'to':0.5,'axis':90}", "/to"},
    {"{'eye':'right','field':'axis','from':90,'to':0}", "/to"},
    {"{'eye':'right','field':'axis','from':90,'to':181}", "/to"},
    {"{'eye':'right','field':'axis','from':90,'to':90.5}", "/to"},
    {"{'eye':'right','field':'sphere','from':0,'to':1,'axis':5,"
     "'hold_equivalent':true}",
        "/axis /hold_equivalent"},
    {"{'eye':'right','field':'add','from':null,'to':0}", "/to"},
    {"{'eye':'right','field':'prism_vertical','from':null,"
     "'to':{'amount':1,'base':'in'}}",
        "/to/base"},
    {"{'eye':'right','field':'vertex_mm','from':null,'to':12}", "/eye"},
    {"{'eye':'both','field':'sphere','from':{'right':0,'left':0},"
     "'to':{'right':1}}",
        "/to"},
    {"{'eye':'right','field':'sphere','from':0,'to':1,'speed':3}", "/speed"},
    {"{'eye':'right','field':'add','from':null,'to':1,'form':'plus'}", "/form"},
    {"{'eye':'right','field':'prism_vertical','from':null,'to':1}", "/to"},
    {"{'eye':'right','field':'sphere','from':0,'to':1,"
     "'acuity':{'notation':'decimal','text':'?'}}",
        "/acuity/text"},
    {"5", ""},
};

/* The words of the trade for tests of a refraction. */
static const char *const TRADE[] = {"retinoscopy", "cycloplegic",
    "over-refraction", "jackson-cross-cylinder", "duochrome", "red-green",
    "binocular-balance", "phoria", "vergence", "worth-four-dot", "fogging",
    "fan-and-block"};

START_TEST(step_takes_the_words_of_the_trade)
{
    struct err err = ERR_INIT(ARENA);
    struct record_step step;
    const char *text = arena_printf(ARENA,
        "{'eye':'right','field':'sphere','from':0,'to':1,'test':'%s'}",
        TRADE[_i]);

    ck_assert_msg(record_step_read(json_in_root(exam_json(text), &err), &step),
        "%s", exam_faults(&err));
    ck_assert_str_eq(step.test, TRADE[_i]);
}
END_TEST

START_TEST(wrong_step_names_every_fault)
{
    struct err err = ERR_INIT(ARENA);
    struct record_step step;
    TEXT_AUTO got = {0};

    ck_assert(!record_step_read(
        json_in_root(exam_json(WRONG[_i].step), &err), &step));
    for (const struct err_fault *f = err.faults; f; f = f->next)
        text_printf(&got, "%s%s", got.len ? " " : "", f->pointer);
    ck_assert_msg(strstr(got.data, WRONG[_i].pointers), "%s: %s",
        WRONG[_i].step, exam_faults(&err));
}
END_TEST

/* ---- undo --------------------------------------------------------------- */

static void apply(
    const char *text, struct record_refraction *r, struct record_logged *logged)
{
    struct err err = ERR_INIT(ARENA);
    struct record_step step;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    ck_assert_msg(record_step_read(json_in_root(exam_json(text), &err), &step),
        "%s", exam_faults(&err));
    *logged = (struct record_logged){.eye = step.eye,
        .field = step.field,
        .form = step.form,
        .hold_equivalent = step.hold_equivalent,
        .before = *r};
    ck_assert_msg(
        record_step_apply(&step, r, &err) == RC_OK, "%s", exam_faults(&err));
    logged->after = *r;
    /* Through the log and back, as an undo would find it. */
    json_out_object(&o, NULL);
    record_logged_write(&o, logged);
    json_out_object_end(&o);
    ck_assert(
        record_logged_read(json_in_root(exam_json(t.data), &err), logged));
}

static const char *const UNDOABLE[] = {
    "{'eye':'right','field':'sphere','from':-2.25,'to':-2.5}",
    "{'eye':'right','field':'cylinder','from':-0.5,'to':0}",
    "{'eye':'right','field':'cylinder','from':-0.5,'to':-0.75,"
    "'hold_equivalent':true}",
    "{'eye':'right','field':'cylinder','form':'plus','from':0.5,'to':1}",
    "{'eye':'right','field':'axis','from':90,'to':95}",
    "{'eye':'right','field':'add','from':null,'to':2}",
    "{'eye':'right','field':'prism_horizontal','from':null,"
    "'to':{'amount':1,'base':'in'}}",
    "{'eye':'right','field':'prism','from':null,"
    "'to':[{'amount':1,'base':'in'},{'amount':2,'base':'up'}]}",
    "{'eye':'left','field':'cylinder','from':0,'to':-0.5}",
    "{'eye':'right','field':'lens','from':'power','to':'occluder'}",
    "{'eye':'both','field':'sphere','from':{'right':-2.25,'left':-1},"
    "'to':{'right':-2,'left':-0.75}}",
    "{'eye':'both','field':'vertex_mm','from':null,'to':12}",
};

START_TEST(undo_brings_back_what_was)
{
    struct err err = ERR_INIT(ARENA);
    struct record_refraction r = exam_refraction(START);
    const char *before = exam_written(&r);
    struct record_logged logged;

    apply(UNDOABLE[_i], &r, &logged);
    ck_assert_str_ne(exam_written(&r), before);
    ck_assert_msg(record_logged_undo(&logged, &r, &err) == RC_OK, "%s",
        exam_faults(&err));
    ck_assert_str_eq(exam_written(&r), before);
}
END_TEST

START_TEST(undo_leaves_what_came_later)
{
    struct err err = ERR_INIT(ARENA);
    struct record_refraction r = exam_refraction(START);
    struct record_logged sphere, axis;

    apply(
        "{'eye':'right','field':'sphere','from':-2.25,'to':-2.5}", &r, &sphere);
    apply("{'eye':'right','field':'axis','from':90,'to':95}", &r, &axis);
    ck_assert(record_logged_undo(&sphere, &r, &err) == RC_OK);
    ck_assert_int_eq(r.eyes[0].power.sph_cd, -225);
    ck_assert_int_eq(r.eyes[0].power.axis_cdeg, 9500);
}
END_TEST

START_TEST(undo_is_refused_when_somebody_moved_on)
{
    struct err err = ERR_INIT(ARENA);
    struct record_refraction r = exam_refraction(START);
    struct record_logged first, second;
    const char *before;

    apply(
        "{'eye':'right','field':'sphere','from':-2.25,'to':-2.5}", &r, &first);
    apply(
        "{'eye':'right','field':'sphere','from':-2.5,'to':-2.75}", &r, &second);
    before = exam_written(&r);
    ck_assert(record_logged_undo(&first, &r, &err) == RC_CONFLICT);
    ck_assert_str_eq(exam_written(&r), before);
}
END_TEST

static const char *const GONE_ON[] = {
    "{'eye':'right','field':'lens','from':'power','to':'balance'}",
    "{'eye':'left','field':'sphere','from':-1,'to':-1.25}",
};

START_TEST(undo_of_an_eye_that_was_made_needs_it_as_it_was)
{
    struct err err = ERR_INIT(ARENA);
    struct record_refraction r = exam_refraction("{}");
    struct record_logged made, more;

    apply("{'eye':'left','field':'sphere','from':null,'to':-1}", &r, &made);
    apply("{'eye':'left','field':'add','from':null,'to':1}", &r, &more);
    ck_assert(record_logged_undo(&made, &r, &err) == RC_CONFLICT);
    err = (struct err)ERR_INIT(ARENA);
    ck_assert(record_logged_undo(&more, &r, &err) == RC_OK);
    ck_assert(record_logged_undo(&made, &r, &err) == RC_OK);
    ck_assert(!record_refraction_here(&r));
}
END_TEST

START_TEST(undo_of_a_start_needs_everything_as_it_was)
{
    struct err err = ERR_INIT(ARENA);
    struct record_logged start = {.eye = RECORD_BOTH,
        .field = RECORD_FIELD_WORKING,
        .before = record_refraction_none(),
        .after = exam_refraction(START)};
    struct record_refraction r = exam_refraction(START);
    struct record_logged step;

    apply(GONE_ON[_i], &r, &step);
    ck_assert(record_logged_undo(&start, &r, &err) == RC_CONFLICT);
    err = (struct err)ERR_INIT(ARENA);
    ck_assert(record_logged_undo(&step, &r, &err) == RC_OK);
    ck_assert(record_logged_undo(&start, &r, &err) == RC_OK);
    ck_assert(!record_refraction_here(&r));
}
END_TEST

static const struct {
    const char *step, *want;
} SAID[] = {
    {"{'eye':'right','field':'cylinder','from':0,'to':-0.5,'axis':10,"
     "'test':'typed','acuity':{'notation':'decimal','text':'0.8'}}",
        "{'from':0.00,'to':-0.50,'axis':10,'test':'typed','acuity':{"
        "'notation':'decimal','text':'0.8','logmar':0.0969},"
        "'standing':-0.50}"},
    {"{'eye':'both','field':'sphere','from':{'right':-2,'left':-1},'to':0}",
        "{'from':{'right':-2.00,'left':-1.00},'to':0.00,'test':null,"
        "'standing':{'right':-2.25,'left':-1.00}}"},
    {"{'eye':'left','field':'lens','from':'power','to':'none'}",
        "{'from':'power','to':'none','test':null,'standing':'power'}"},
    {"{'eye':'right','field':'prism_vertical','from':null,"
     "'to':{'amount':1,'base':'down'}}",
        "{'from':null,'to':{'amount':1.00,'base':'down'},'test':null,"
        "'standing':null}"},
    {"{'eye':'right','field':'axis','from':90,'to':95}",
        "{'from':90,'to':95,'test':null,'standing':90}"},
};

/* 0.8 decimal is logMAR 0.0969 */
START_TEST(step_is_written_as_it_was_sent)
{
    struct err err = ERR_INIT(ARENA);
    struct record_refraction r = exam_refraction(START);
    struct record_step step;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    ck_assert(
        record_step_read(json_in_root(exam_json(SAID[_i].step), &err), &step));
    json_out_object(&o, NULL);
    record_step_write(&o, &step);
    record_step_write_standing(&o, "standing", &step, &r);
    json_out_object_end(&o);
    for (char *c = t.data; *c; c++)
        if (*c == '"')
            *c = '\'';
    ck_assert_str_eq(t.data, SAID[_i].want);
}
END_TEST

/* ---- the clinic's steps -------------------------------------------------- */

static const struct {
    const char *step;
    struct record_grid grid;
    bool off;
} GRID[] = {
    {"{'eye':'right','field':'sphere','from':0,'to':-0.25}", {25, 5, 50},
        false},
    {"{'eye':'right','field':'sphere','from':0,'to':-0.12}", {25, 5, 50}, true},
    {"{'eye':'right','field':'sphere','from':0,'to':-0.37}", {12, 5, 50},
        false},
    {"{'eye':'right','field':'sphere','from':0,'to':-0.30}", {12, 5, 50}, true},
    {"{'eye':'right','field':'axis','from':90,'to':93}", {25, 5, 50}, true},
    {"{'eye':'right','field':'axis','from':90,'to':93}", {25, 1, 50}, false},
    {"{'eye':'right','field':'prism_vertical','from':null,"
     "'to':{'amount':0.25,'base':'up'}}",
        {25, 5, 50}, true},
    {"{'eye':'right','field':'prism','from':null,"
     "'to':[{'amount':0.5,'base':'in'},{'amount':0.25,'base':'up'}]}",
        {25, 5, 50}, true},
    {"{'eye':'right','field':'prism','from':null,"
     "'to':[{'amount':0.5,'base':'in'},{'amount':1,'base':'down'}]}",
        {25, 5, 50}, false},
    {"{'eye':'both','field':'vertex_mm','from':null,'to':12.3}", {25, 5, 50},
        false},
};

START_TEST(step_off_the_grid_is_told)
{
    struct err err = ERR_INIT(ARENA);
    struct record_step step;

    ck_assert(
        record_step_read(json_in_root(exam_json(GRID[_i].step), &err), &step));
    ck_assert_msg((record_step_off_grid(&step, &GRID[_i].grid, ARENA) !=
                      NULL) == GRID[_i].off,
        "%s", GRID[_i].step);
}
END_TEST

/* ---- start ----------------------------------------------------------------
 */

static const struct {
    double axis;
    int32_t want_deg;
} WHOLE[] = {{0.49, 180}, {0.5, 1}, {21.3, 21}, {179.6, 180}, {180, 180}};

START_TEST(start_rounds_axes_to_whole_degrees)
{
    struct record_rounded rounded[2];
    struct record_entry e = exam_entry("autorefraction",
        arena_printf(ARENA,
            "{'right':{'sphere':-2.18,'cylinder':-1,'axis':%.2f,"
            "'acuity':{'notation':'decimal','text':'1.0'}}}",
            WHOLE[_i].axis));

    ck_assert_ptr_nonnull(e.figures.eyes[0].acuity.notation);
    record_refraction_start(&e.figures, rounded);
    ck_assert_int_eq(
        e.figures.eyes[0].power.axis_cdeg, 100 * WHOLE[_i].want_deg);
    ck_assert_int_eq(e.figures.eyes[0].power.sph_cd, -218);
    ck_assert_int_eq(rounded[0].to_cdeg, 100 * WHOLE[_i].want_deg);
    ck_assert_ptr_null(e.figures.eyes[0].acuity.notation);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("record step");
    TCase *tc = tcase_create("step");
    SRunner *sr;
    int failed;

    tcase_add_checked_fixture(tc, exam_case_begin, exam_case_end);
    tcase_add_loop_test(tc, step_does_what_it_says, 0, (int)ARRAY_LEN(APPLY));
    tcase_add_loop_test(
        tc, step_takes_the_words_of_the_trade, 0, (int)ARRAY_LEN(TRADE));
    tcase_add_loop_test(
        tc, wrong_step_names_every_fault, 0, (int)ARRAY_LEN(WRONG));
    tcase_add_loop_test(
        tc, undo_brings_back_what_was, 0, (int)ARRAY_LEN(UNDOABLE));
    tcase_add_test(tc, undo_leaves_what_came_later);
    tcase_add_test(tc, undo_is_refused_when_somebody_moved_on);
    tcase_add_test(tc, undo_of_an_eye_that_was_made_needs_it_as_it_was);
    tcase_add_loop_test(tc, undo_of_a_start_needs_everything_as_it_was, 0,
        (int)ARRAY_LEN(GONE_ON));
    tcase_add_loop_test(
        tc, step_is_written_as_it_was_sent, 0, (int)ARRAY_LEN(SAID));
    tcase_add_loop_test(tc, step_off_the_grid_is_told, 0, (int)ARRAY_LEN(GRID));
    tcase_add_loop_test(
        tc, start_rounds_axes_to_whole_degrees, 0, (int)ARRAY_LEN(WHOLE));
    suite_add_tcase(s, tc);
    sr = srunner_create(s);
    srunner_run_all(sr, CK_ENV);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed != 0;
}
