#include "forward_options.h"

#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/num.h"

const char FORWARD_USAGE[] =
    "usage: lensclerk-forward --spool DIR --url URL --token FILE SOURCE [...]\n"
    "       lensclerk-forward --spool DIR --status [--json]\n"
    "\n"
    "Keeps what an instrument writes in a spool on disk and sends it to a\n"
    "Lensclerk service, until SIGTERM.\n"
    "\n"
    "  --spool DIR      the queue; made when it isn't there\n"
    "  --url URL        address of the service, such as https://clerk.example\n"
    "  --token FILE     holds a device's token (else the systemd credential\n"
    "                   \"token\")\n"
    "  --ca FILE        authorities (PEM) that the service's certificate is\n"
    "                   checked against\n"
    "  --plain          allow http:// beyond this machine\n"
    "SOURCE, one of\n"
    "  --watch DIR      files that appear in a folder; taken, they are "
    "removed\n"
    "  --stdin          standard input\n"
    "  --serial DEVICE  a serial line\n"
    "What is sent\n"
    "  --profile NAME   field profile that reads it\n"
    "  --type MEDIA     its media type (else by the end of a file's name;\n"
    "                   text/plain for standard input and serial lines)\n"
    "Folders\n"
    "  --quiet MS       a file is taken once it hasn't changed for so long\n"
    "                   (1000)\n"
    "  --keep DIR       taken files are moved there\n"
    "  --refused DIR    where refused files go (refused in the spool)\n"
    "Text\n"
    "  --end TEXT       ends a message; \\r \\n \\t \\\\ and \\x03 are known\n"
    "  --idle MS        silence that ends a message (serial line 1000; 0: "
    "none)\n"
    "  --line SPEC      of the serial line (9600,8N1)\n"
    "Sending\n"
    "  --retry-first MS, --retry-most MS\n"
    "                   first and longest pause after a failure (1000, "
    "300000)\n"
    "  --silence S      a connection without a byte is given up (60)\n"
    "  --once           take what is there, send until it fails or all is "
    "sent,\n"
    "                   and end\n"
    "  --status         print how it is doing; --json: as JSON\n"
    "\n"
    "Exit status: 0 all went well (with --status: all is well), 1 a person\n"
    "should look, 2 the command line is wrong or there is no such spool.\n";

enum choice {
    SPOOL = 256,
    URL,
    TOKEN,
    CA,
    PLAIN,
    WATCH,
    STDIN,
    SERIAL,
    PROFILE,
    TYPE,
    QUIET,
    KEEP,
    REFUSED,
    END,
    IDLE,
    LINE,
    RETRY_FIRST,
    RETRY_MOST,
    SILENCE,
    ONCE,
    STATUS,
    JSON,
    HELP,
    VERSION
};

static const struct option OPTIONS[] = {
    {"spool", required_argument, NULL, SPOOL},
    {"url", required_argument, NULL, URL},
    {"token", required_argument, NULL, TOKEN},
    {"ca", required_argument, NULL, CA},
    {"plain", no_argument, NULL, PLAIN},
    {"watch", required_argument, NULL, WATCH},
    {"stdin", no_argument, NULL, STDIN},
    {"serial", required_argument, NULL, SERIAL},
    {"profile", required_argument, NULL, PROFILE},
    {"type", required_argument, NULL, TYPE},
    {"quiet", required_argument, NULL, QUIET},
    {"keep", required_argument, NULL, KEEP},
    {"refused", required_argument, NULL, REFUSED},
    {"end", required_argument, NULL, END},
    {"idle", required_argument, NULL, IDLE},
    {"line", required_argument, NULL, LINE},
    {"retry-first", required_argument, NULL, RETRY_FIRST},
    {"retry-most", required_argument, NULL, RETRY_MOST},
    {"silence", required_argument, NULL, SILENCE},
    {"once", no_argument, NULL, ONCE},
    {"status", no_argument, NULL, STATUS},
    {"json", no_argument, NULL, JSON},
    {"help", no_argument, NULL, HELP},
    {"version", no_argument, NULL, VERSION},
    {NULL, 0, NULL, 0},
};

struct reader {
    struct forward_options *o;
    struct err *err;
    unsigned sources;
    bool idle_given;
};

static void take_number(struct reader *r, const char *name, const char *value,
    const int64_t range[2], int64_t *ret)
{
    int64_t n;

    if (!num_parse(value, strlen(value), 0, range[1], &n) || n < range[0])
        err_fault(r->err, name,
            "must be a number from %lld to %lld, not \"%s\"",
            (long long)range[0], (long long)range[1], value);
    else
        *ret = n;
}

/* Of a header or an address: no blanks, no controls. */
static void take_word(
    struct reader *r, const char *name, const char *value, bool blanks)
{
    size_t len = strlen(value);

    for (const char *c = value; *c; c++)
        if (*c < (blanks ? ' ' : '!') || *c > '~')
            len = 0;
    if (len == 0 || len > FORWARD_WORD_MOST)
        err_fault(r->err, name, "must be 1 to %d visible ASCII characters",
            FORWARD_WORD_MOST);
}

static void take_source(struct reader *r, enum forward_source source)
{
    r->o->source = source;
    r->sources++;
}

static bool take_flag(struct reader *r, int option)
{
    switch (option) {
    case PLAIN:
        r->o->target.plain = true;
        return true;
    case STDIN:
        take_source(r, FORWARD_LINES);
        return true;
    case ONCE:
        r->o->once = true;
        return true;
    case STATUS:
        r->o->command = FORWARD_STATUS;
        return true;
    case JSON:
        r->o->json = true;
        return true;
    case HELP:
        r->o->command = FORWARD_HELP;
        return true;
    case VERSION:
        r->o->command = FORWARD_VERSION;
        return true;
    default:
        return false;
    }
}

static bool take_place(struct reader *r, int option, const char *value)
{
    struct forward_options *o = r->o;

    switch (option) {
    case SPOOL:
        o->spool = value;
        return true;
    case URL:
        o->target.url = value;
        return true;
    case TOKEN:
        o->target.token_file = value;
        return true;
    case CA:
        o->target.ca_file = value;
        return true;
    case KEEP:
        o->watch.keep = value;
        return true;
    case REFUSED:
        o->refused = value;
        return true;
    case WATCH:
        o->watch.dir = value;
        take_source(r, FORWARD_FOLDER);
        return true;
    case SERIAL:
        o->text.device = value;
        take_source(r, FORWARD_LINES);
        return true;
    default:
        return false;
    }
}

static void take_format(struct reader *r, int option, const char *value)
{
    struct forward_options *o = r->o;

    switch (option) {
    case PROFILE:
        take_word(r, "--profile", value, false);
        o->watch.profile = value;
        break;
    case TYPE:
        take_word(r, "--type", value, true);
        o->watch.media = value;
        break;
    case END:
        if (!forward_unescape(value, o->text.pattern, FORWARD_PATTERN_MOST,
                &o->text.pattern_len))
            err_fault(r->err, "--end",
                "must be 1 to %d bytes, with \\r, \\n, \\t, \\\\ or \\x and "
                "two "
                "hex digits, not \"%s\"",
                FORWARD_PATTERN_MOST, value);
        break;
    case LINE:
        if (!forward_line_parse(value, &o->text.line))
            err_fault(r->err, "--line",
                "must be as 9600,8N1: bits a second, then 7 or 8, N, E or O, "
                "1 or 2, not \"%s\"",
                value);
        break;
    default:
        break;
    }
}

static void take_time(struct reader *r, int option, const char *value)
{
    static const int64_t ms[] = {1, 86400000}, ms0[] = {0, 86400000},
                         s[] = {1, 86400};
    struct forward_options *o = r->o;

    switch (option) {
    case QUIET:
        take_number(r, "--quiet", value, ms, &o->watch.quiet_ms);
        break;
    case IDLE:
        take_number(r, "--idle", value, ms0, &o->text.idle_ms);
        r->idle_given = true;
        break;
    case RETRY_FIRST:
        take_number(r, "--retry-first", value, ms, &o->pauses.first_ms);
        break;
    case RETRY_MOST:
        take_number(r, "--retry-most", value, ms, &o->pauses.most_ms);
        break;
    case SILENCE:
        take_number(r, "--silence", value, s, &o->target.silence_s);
        break;
    default:
        take_format(r, option, value);
        break;
    }
}

/* systemd puts what LoadCredential= names there. */
static void find_token(struct forward_options *o, struct err *err)
{
    const char *dir = getenv("CREDENTIALS_DIRECTORY");

    if (!o->target.token_file && dir)
        o->target.token_file = arena_printf(err->arena, "%s/token", dir);
    if (!o->target.token_file)
        err_fault(err, "--token", "is required");
}

static void check_run(struct reader *r)
{
    struct forward_options *o = r->o;

    if (r->sources > 1)
        err_fault(r->err, "--watch, --stdin, --serial", "exclude each other");
    if (r->sources == 0 && !o->once)
        err_fault(r->err, "--watch, --stdin, --serial",
            "one of them is required, unless --once only empties the queue");
    find_token(o, r->err);
    if (!o->target.url)
        err_fault(r->err, "--url", "is required");
    else
        forward_target_check(&o->target, r->err);
    if (o->pauses.most_ms < o->pauses.first_ms)
        err_fault(
            r->err, "--retry-most", "must not be less than --retry-first");
}

static void fill_text(struct reader *r)
{
    struct forward_options *o = r->o;
    struct forward_label *label = &o->text.label;

    if (o->text.device && !r->idle_given)
        o->text.idle_ms = 1000;
    snprintf(label->media, sizeof(label->media), "%s",
        o->watch.media ? o->watch.media : "text/plain");
    snprintf(label->profile, sizeof(label->profile), "%s",
        o->watch.profile ? o->watch.profile : "");
    snprintf(label->name, sizeof(label->name), "%s", "message.txt");
}

static enum rc check(struct reader *r, int argc, char *const *argv)
{
    struct forward_options *o = r->o;

    if (optind < argc)
        err_fault(r->err, argv[optind], "is not understood");
    if (o->command == FORWARD_HELP || o->command == FORWARD_VERSION)
        return RC_OK;
    if (!o->spool)
        err_fault(r->err, "--spool", "is required");
    if (o->json && o->command != FORWARD_STATUS)
        err_fault(r->err, "--json", "goes with --status");
    if (o->command == FORWARD_RUN)
        check_run(r);
    fill_text(r);
    return r->err->rc;
}

enum rc forward_options_read(
    int argc, char **argv, struct forward_options *ret, struct err *err)
{
    struct reader r = {.o = ret, .err = err};
    int option;

    *ret = (struct forward_options){
        .watch.quiet_ms = 1000,
        .text.line = {9600, 8, 'N', 1},
        .pauses = {1000, 300000},
        .target.silence_s = 60,
    };
    opterr = 0;
    while ((option = getopt_long(argc, argv, "", OPTIONS, NULL)) != -1) {
        if (option == '?')
            err_fault(
                err, argv[optind - 1], "is not understood, or lacks a value");
        else if (!take_flag(&r, option) && !take_place(&r, option, optarg))
            take_time(&r, option, optarg);
    }
    return check(&r, argc, argv);
}
