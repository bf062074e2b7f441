/* admin.c - networks, users and devices from the command line. */
#include "admin.h"

#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/arena.h"
#include "base/config.h"
#include "base/num.h"
#include "base/secret.h"
#include "db/admin.h"
#include "record/user.h"

#define DAYS_PRESET "365"
#define DAYS_MAX 3660

static const char NETWORK_HELP[] =
    "usage: lensclerkd network add --name NAME --display TEXT\n"
    "\n"
    "Makes a network, the tenant that clinics and labs share records in, and\n"
    "prints its id.  NAME is what people sign in with: a-z, 0-9 and dashes.\n";

static const char USER_HELP[] =
    "usage: lensclerkd user add --network NAME --user NAME --role ROLE\n"
    "           [--display TEXT] [--clinic NAME] [--lab NAME]\n"
    "           [--password-file FILE] [--token-file FILE [--token-days N]]\n"
    "       lensclerkd user password --network NAME --user NAME\n"
    "           --password-file FILE\n"
    "\n"
    "add makes a user and prints the id.  ROLE is desk, prescriber, lab, "
    "admin\n"
    "or auditor; a lab's user needs --lab.  The password is the first line of\n"
    "its file, 12 to 200 characters.  With --token-file a bearer token is "
    "made,\n"
    "too, and written to that new file, which only its owner can read; it\n"
    "works for 365 days or N.\n"
    "\n"
    "password sets a new one and ends the user's sessions and tokens.\n";

static const char DEVICE_HELP[] =
    "usage: lensclerkd device add --network NAME --name NAME --clinic NAME\n"
    "           [--serial TEXT] --token-file FILE [--token-days N]\n"
    "\n"
    "Makes a device, an instrument or the PC that speaks for some, and prints\n"
    "its id.  Its bearer token is written to the new FILE, which only its "
    "owner\n"
    "can read; it works for 365 days or N.\n";

/* ---- options ---------------------------------------------------------- */

struct option {
    const char *name;
    const char **value;
    bool needed;
};

static int wrong(const char *fmt, ...) __attribute__((format(printf, 1, 2)));

static int wrong(const char *fmt, ...)
{
    va_list ap;

    fputs("lensclerkd: ", stderr);
    va_start(ap, fmt);
    vfprintf(stderr, fmt, ap);
    va_end(ap);
    fputs("\n", stderr);
    return 2;
}

static const struct option *find_option(
    const struct option *options, const char *word)
{
    size_t len = strcspn(word, "=");

    if (strncmp(word, "--", 2) != 0)
        return NULL;
    for (; options->name; options++)
        if (strlen(options->name) == len - 2 &&
            strncmp(options->name, word + 2, len - 2) == 0)
            return options;
    return NULL;
}

/* --name VALUE or --name=VALUE, ended by an option without a name; 0 or the
 * exit code. */
static int read_options(const struct option *options, int argc, char **argv)
{
    for (int i = 0; i < argc; i++) {
        const struct option *o = find_option(options, argv[i]);
        const char *value = strchr(argv[i], '=');

        if (!o)
            return wrong("no option \"%s\" is known here", argv[i]);
        if (*o->value)
            return wrong("--%s stands twice", o->name);
        if (!value && i + 1 == argc)
            return wrong("--%s needs a value", o->name);
        *o->value = value ? value + 1 : argv[++i];
        if (!**o->value)
            return wrong("--%s is empty", o->name);
    }
    for (; options->name; options++)
        if (options->needed && !*options->value)
            return wrong("--%s is needed", options->name);
    return 0;
}

static int failed(const struct err *err)
{
    wrong("%s", err->detail);
    return 1;
}

/* ---- secrets ---------------------------------------------------------- */

/* The first line of the file, hashed; 0 or the exit code. */
static int hash_password(const char *path, char ret_hash[SECRET_HASH_SIZE])
{
    char text[SECRET_PASSWORD_MAX * 4 + 2] = "";
    FILE *f = fopen(path, "re");
    int code = 0;

    if (!f) {
        wrong("can't read %s: %s", path, strerror(errno));
        return 1;
    }
    if (!fgets(text, sizeof(text), f))
        text[0] = '\0';
    fclose(f);
    text[strcspn(text, "\r\n")] = '\0';
    if (!secret_password_fits(text))
        code = wrong("the password in %s must have %d to %d characters", path,
            SECRET_PASSWORD_MIN, SECRET_PASSWORD_MAX);
    else if (!secret_password_hash(text, ret_hash))
        code = wrong("there is no memory to hash a password");
    explicit_bzero(text, sizeof(text));
    return code ? 1 : 0;
}

struct token {
    const char *path, *days_text;
    char text[SECRET_TOKEN_SIZE];
    uint8_t hash[HASH_SIZE];
    struct admin_token made;
};

/* A new token in a new file of mode 0600, before the database knows it; 0 or
 * the exit code.  Nothing without a path. */
static int make_token(struct token *t)
{
    int64_t days;
    bool stored;
    int fd;

    if (!t->path)
        return t->days_text ? wrong("--token-days goes with --token-file") : 0;
    if (!t->days_text)
        t->days_text = DAYS_PRESET;
    if (!num_parse(t->days_text, strlen(t->days_text), 0, DAYS_MAX, &days) ||
        days < 1)
        return wrong("--token-days must be from 1 to %d", DAYS_MAX);
    fd = open(t->path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0) {
        wrong("can't make %s: %s", t->path,
            errno == EEXIST ? "it is there already" : strerror(errno));
        return 1;
    }
    secret_token_new(t->text, t->hash);
    stored = dprintf(fd, "%s\n", t->text) > 0 && fsync(fd) == 0;
    explicit_bzero(t->text, sizeof(t->text));
    if (close(fd) != 0 || !stored) {
        wrong("can't write %s: %s", t->path, strerror(errno));
        unlink(t->path);
        return 1;
    }
    t->made = (struct admin_token){t->hash, (int)days};
    return 0;
}

/* A token that the database didn't take works nowhere. */
static int undo_token(const struct token *t, const struct err *err)
{
    if (t->made.hash)
        unlink(t->path);
    return failed(err);
}

/* ---- commands --------------------------------------------------------- */

static int network_add(
    const char *conninfo, int argc, char **argv, struct err *err)
{
    const char *name = NULL, *display = NULL;
    const struct option options[] = {
        {"name", &name, true}, {"display", &display, true}, {0}};
    char id[UUID_TEXT_SIZE];
    int code = read_options(options, argc, argv);

    if (code)
        return code;
    if (!record_network_name_valid(name))
        return wrong("--name must be of a-z, 0-9 and dashes, and begin with a "
                     "letter or digit");
    if (admin_network_add(conninfo, name, display, id, err) != RC_OK)
        return failed(err);
    puts(id);
    return 0;
}

static int check_user(const struct admin_user *u)
{
    const char *const *role = RECORD_ROLES;
    bool of_lab = strcmp(u->role, "lab") == 0;

    if (!record_user_name_valid(u->name))
        return wrong("--user must be of a-z, 0-9, dot, dash and underscore, "
                     "and begin with a letter or digit");
    while (*role && strcmp(*role, u->role) != 0)
        role++;
    if (!*role)
        return wrong("--role must be desk, prescriber, lab, admin or auditor; "
                     "a device is made by: device add");
    if (of_lab && !u->lab)
        return wrong("--lab is needed for the role lab");
    if (!of_lab && u->lab)
        return wrong("--lab goes with the role lab only");
    return 0;
}

static int user_add(
    const char *conninfo, int argc, char **argv, struct err *err)
{
    struct admin_user u = {0};
    struct token token = {0};
    const char *password_file = NULL;
    const struct option options[] = {{"network", &u.network, true},
        {"user", &u.name, true}, {"role", &u.role, true},
        {"display", &u.display, false}, {"clinic", &u.clinic, false},
        {"lab", &u.lab, false}, {"password-file", &password_file, false},
        {"token-file", &token.path, false},
        {"token-days", &token.days_text, false}, {0}};
    char hash[SECRET_HASH_SIZE], id[UUID_TEXT_SIZE];
    int code = read_options(options, argc, argv);

    if (!code)
        code = check_user(&u);
    if (!code && !password_file && !token.path)
        code = wrong("--password-file or --token-file is needed: nobody could "
                     "come in");
    if (!code && password_file)
        code = hash_password(password_file, hash);
    if (!code)
        code = make_token(&token);
    if (code)
        return code;
    u.display = u.display ? u.display : u.name;
    u.password_hash = password_file ? hash : NULL;
    u.token = token.made;
    if (admin_user_add(conninfo, &u, id, err) != RC_OK)
        return undo_token(&token, err);
    puts(id);
    return 0;
}

static int user_password(
    const char *conninfo, int argc, char **argv, struct err *err)
{
    const char *network = NULL, *user = NULL, *password_file = NULL;
    const struct option options[] = {{"network", &network, true},
        {"user", &user, true}, {"password-file", &password_file, true}, {0}};
    char hash[SECRET_HASH_SIZE];
    int code = read_options(options, argc, argv);

    if (!code)
        code = hash_password(password_file, hash);
    if (code)
        return code;
    if (admin_user_password(conninfo, network, user, hash, err) != RC_OK)
        return failed(err);
    return 0;
}

static int device_add(
    const char *conninfo, int argc, char **argv, struct err *err)
{
    struct admin_device d = {0};
    struct token token = {0};
    const struct option options[] = {{"network", &d.network, true},
        {"name", &d.name, true}, {"clinic", &d.clinic, true},
        {"serial", &d.serial, false}, {"token-file", &token.path, true},
        {"token-days", &token.days_text, false}, {0}};
    char id[UUID_TEXT_SIZE];
    int code = read_options(options, argc, argv);

    if (!code)
        code = make_token(&token);
    if (code)
        return code;
    d.token = token.made;
    if (admin_device_add(conninfo, &d, id, err) != RC_OK)
        return undo_token(&token, err);
    puts(id);
    return 0;
}

static const struct command {
    const char *what, *verb, *help;
    int (*run)(const char *conninfo, int argc, char **argv, struct err *err);
} COMMANDS[] = {
    {"network", "add", NETWORK_HELP, network_add},
    {"user", "add", USER_HELP, user_add},
    {"user", "password", USER_HELP, user_password},
    {"device", "add", DEVICE_HELP, device_add},
};

static bool wants_help(int argc, char **argv)
{
    for (int i = 1; i < argc; i++)
        if (strcmp(argv[i], "--help") == 0)
            return true;
    return false;
}

static int run(const struct config *c, const struct command *command, int argc,
    char **argv)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    int code;

    if (!*c->owner_conninfo) {
        wrong("[database] owner_conninfo is not set; this command acts as the "
              "owner of the database");
        code = 1;
    } else {
        code = command->run(c->owner_conninfo, argc, argv, &err);
    }
    arena_free(arena);
    return code;
}

int admin_main(const struct config *c, int argc, char **argv)
{
    const char *verb = argc > 1 ? argv[1] : "";
    const char *help = NULL;

    for (size_t i = 0; i < ARRAY_LEN(COMMANDS); i++) {
        if (strcmp(COMMANDS[i].what, argv[0]) != 0)
            continue;
        help = COMMANDS[i].help;
        if (strcmp(COMMANDS[i].verb, verb) == 0 && !wants_help(argc, argv))
            return run(c, &COMMANDS[i], argc - 2, argv + 2);
    }
    fputs(help, wants_help(argc, argv) ? stdout : stderr);
    return wants_help(argc, argv) ? 0 : 2;
}
