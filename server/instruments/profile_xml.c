/*
 * instruments/profile_xml.c - XML of any shape, by XPath 1.0 (libxml2).
 *
 * A document type is refused where it begins, so that there is no entity but
 * the five of XML itself; nothing is fetched.  libxml2 refuses what stands
 * over 256 deep; size, and the steps of all expressions, are bounded here.
 */
#include <libxml/parser.h>
#include <libxml/xpath.h>
#include <libxml/xpathInternals.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "instruments/profile_inside.h"

#define XML_MAX (1 << 20) /* bytes; nodes take up to thirty times as much */
/* Of XPath in one payload, as libxml2 counts; a byte of what is found is one
 * more. */
#define STEPS_MAX 5000000
/* Sets of nodes are joined and compared each with each, which libxml2 counts
 * as if it were once; ours. */
#define SETS 2000
/* Functions may read all of the document, which libxml2 doesn't count: so many
 * bytes are a step, and so many of an expression one reading more; ours. */
#define BYTES_A_STEP 4
#define PATH_A_READING 64

/* ---- parsing ----------------------------------------------------------- */

struct parse {
    int line, column;
    const char *why; /* the first thing that is wrong, NULL: nothing */
    char message[200];
};

static void refuse_doctype(void *ctx, const xmlChar *name,
    const xmlChar *external, const xmlChar *system)
{
    xmlParserCtxtPtr parser = ctx;
    struct parse *parse = parser->_private;

    (void)name;
    (void)external;
    (void)system;
    if (!parse->why) {
        parse->why = "a document type isn't taken";
        parse->line = parser->input ? parser->input->line : 0;
        parse->column = parser->input ? parser->input->col : 0;
    }
    xmlStopParser(parser);
}

/* libxml2's own words, if they are text. */
static void keep_error(void *ctx, xmlErrorPtr error)
{
    struct parse *parse = ((xmlParserCtxtPtr)ctx)->_private;
    size_t n = error->message ? strcspn(error->message, "\n") : 0;

    if (parse->why || error->level < XML_ERR_ERROR)
        return;
    parse->line = error->line;
    parse->column = error->int2;
    parse->why = "it isn't well-formed";
    if (n && n < sizeof(parse->message) &&
        encoding_read(ENCODING_UTF_8, error->message, n, NULL).s) {
        memcpy(parse->message, error->message, n);
        parse->why = parse->message;
    }
}

/* NULL with an error. */
static xmlDocPtr parse_xml(struct encoding_text text, struct err *err)
{
    struct parse parse = {0};
    xmlParserCtxtPtr parser = xmlNewParserCtxt();
    xmlDocPtr doc = NULL;

    if (parser) {
        parser->_private = &parse;
        parser->sax->internalSubset = refuse_doctype;
        parser->sax->serror = keep_error;
        doc = xmlCtxtReadMemory(parser, text.s, (int)text.len, NULL, "UTF-8",
            XML_PARSE_NONET | XML_PARSE_NOCDATA | XML_PARSE_COMPACT |
                XML_PARSE_BIG_LINES | XML_PARSE_IGNORE_ENC);
        xmlFreeParserCtxt(parser);
    }
    if (doc && !parse.why)
        return doc;
    xmlFreeDoc(doc);
    err_set(err, RC_SYNTAX, "", "not XML at line %d, column %d: %s", parse.line,
        parse.column, parse.why ? parse.why : "it can't be read");
    return NULL;
}

/* ---- expressions ------------------------------------------------------- */

/* Where the errors of XPath go: nobody reads them twice. */
static void no_words(void *arg, xmlErrorPtr error)
{
    (void)arg;
    (void)error;
}

bool profile_xpath_good(const char *path, const char **ret_why)
{
    xmlXPathContextPtr ctx = xmlXPathNewContext(NULL);
    xmlXPathCompExprPtr compiled = NULL;

    *ret_why = "it can't be read as one";
    if (!ctx)
        return false;
    ctx->error = no_words;
    compiled = xmlXPathCtxtCompile(ctx, (const xmlChar *)path);
    xmlXPathFreeContext(ctx);
    if (!compiled)
        return false;
    xmlXPathFreeCompExpr(compiled);
    return true;
}

struct query {
    struct profile_job job;
    xmlXPathContextPtr ctx;
    xmlXPathCompExprPtr record;
    xmlXPathCompExprPtr sorts[PROFILE_SORTS_MAX];
    xmlXPathCompExprPtr cells[PROFILE_CELLS_MAX];
    size_t doc_len; /* bytes */
    unsigned long steps;
    bool spent;
};

static void query_free(struct query *q)
{
    xmlXPathFreeCompExpr(q->record);
    for (size_t i = 0; i < PROFILE_SORTS_MAX; i++)
        xmlXPathFreeCompExpr(q->sorts[i]);
    for (size_t i = 0; i < PROFILE_CELLS_MAX; i++)
        xmlXPathFreeCompExpr(q->cells[i]);
    xmlXPathFreeContext(q->ctx);
    free(q);
}

static xmlXPathCompExprPtr compile(struct query *q, const char *path)
{
    return xmlXPathCtxtCompile(q->ctx, (const xmlChar *)path);
}

static struct query *query_new(
    struct profile_job job, xmlDocPtr doc, size_t doc_len)
{
    const struct profile *p = job.p;
    struct query *q = xcalloc(1, sizeof(*q));

    q->job = job;
    q->doc_len = doc_len;
    q->ctx = xmlXPathNewContext(doc);
    if (!q->ctx)
        abort(); /* no memory */
    q->ctx->error = no_words;
    for (size_t i = 0; i < p->prefix.n; i++)
        xmlXPathRegisterNs(q->ctx, (const xmlChar *)p->prefix.items[i],
            (const xmlChar *)p->ns_uris.items[i]);
    q->record = compile(q, p->record);
    for (size_t i = 1; i < p->n_sorts; i++)
        q->sorts[i] = compile(q, p->sorts[i].path);
    for (size_t i = 0; i < p->n_cells; i++)
        q->cells[i] = compile(q, p->cells[i].path);
    return q;
}

/* Steps of the functions in path; those without arguments read nothing. */
static unsigned long functions_cost(const struct query *q, const char *path)
{
    unsigned long n = 0;

    for (const char *c = path; *c; c++)
        n += *c == '(' && c[1] != ')';
    return n * (1 + strlen(path) / PATH_A_READING) *
           (q->doc_len / BYTES_A_STEP);
}

/* NULL with a fault that names path. */
static xmlXPathObjectPtr run(struct query *q, xmlXPathCompExprPtr compiled,
    xmlNodePtr node, const char *path)
{
    xmlXPathObjectPtr result = NULL;

    if (q->spent)
        return NULL;
    q->steps += functions_cost(q, path);
    q->ctx->node = node;
    q->ctx->opCount = 0;
    q->ctx->opLimit = q->steps < STEPS_MAX ? STEPS_MAX - q->steps : 1;
    if (compiled && q->steps < STEPS_MAX)
        result = xmlXPathCompiledEval(compiled, q->ctx);
    q->steps += q->ctx->opCount;
    if (compiled != q->record)
        q->steps += q->ctx->opCount * q->ctx->opCount / SETS;
    q->spent = q->steps >= STEPS_MAX;
    if (!result || q->spent)
        err_fault(q->job.err, "", "line %ld: \"%s\" %s", xmlGetLineNo(node),
            path,
            q->spent ? "takes too many steps in this document"
                     : "can't be worked out");
    return result;
}

/* ---- records ----------------------------------------------------------- */

static struct profile_cell cell_of(xmlXPathObjectPtr found, struct arena *arena)
{
    struct profile_cell cell = {0};
    xmlChar *text;

    if (found->type == XPATH_NODESET &&
        xmlXPathNodeSetIsEmpty(found->nodesetval))
        return cell;
    text = xmlXPathCastToString(found);
    if (!text)
        abort(); /* no memory */
    cell.len = strlen((const char *)text);
    for (size_t i = 0; i < cell.len; i++)
        if (text[i] == '\n' || text[i] == '\r')
            text[i] = ' '; /* white space around a value is layout */
    cell.s = arena_memdup(arena, text, cell.len);
    xmlFree(text);
    return cell;
}

static void fill_row(struct query *q, struct profile_row *row, xmlNodePtr node)
{
    const struct profile *p = q->job.p;

    row->line = (size_t)xmlGetLineNo(node);
    for (size_t i = 0; i < p->n_cells; i++) {
        xmlXPathObjectPtr found;

        if (p->cells[i].sort != row->sort)
            continue;
        found = run(q, q->cells[i], node, p->cells[i].path);
        if (!found)
            continue;
        if (found->type == XPATH_NODESET &&
            xmlXPathNodeSetGetLength(found->nodesetval) > 1)
            err_fault(q->job.err, "",
                "line %zu: \"%s\" finds %d places, where one is needed",
                row->line, p->cells[i].path,
                xmlXPathNodeSetGetLength(found->nodesetval));
        else
            row->cells[i] = cell_of(found, q->job.record);
        q->steps += row->cells[i].len;
        xmlXPathFreeObject(found);
    }
}

static void read_rows(
    struct query *q, struct profile_record *record, int sort, xmlNodePtr node)
{
    const struct profile *p = q->job.p;
    xmlXPathObjectPtr found = run(q, q->sorts[sort], node, p->sorts[sort].path);
    int n = found && found->type == XPATH_NODESET
                ? xmlXPathNodeSetGetLength(found->nodesetval)
                : 0;

    if (record->n + (size_t)n > PROFILE_ROWS_MAX) {
        err_fault(q->job.err, "", "line %ld: a record has over %d rows",
            xmlGetLineNo(node), PROFILE_ROWS_MAX);
        n = 0;
    }
    for (int i = 0; i < n; i++)
        fill_row(q, profile_row_add(p, record, sort),
            xmlXPathNodeSetItem(found->nodesetval, i));
    xmlXPathFreeObject(found);
}

static void read_record(struct query *q, xmlNodePtr node)
{
    const struct profile *p = q->job.p;
    struct err *err = q->job.err;
    size_t before = err->n_faults;
    struct profile_record record = {.arena = q->job.record};

    record.line = record.last_line = (size_t)xmlGetLineNo(node);
    fill_row(q, profile_row_add(p, &record, 0), node);
    for (size_t i = 1; i < p->n_sorts; i++)
        read_rows(q, &record, (int)i, node);
    if (err->n_faults == before)
        profile_build(p, &record, q->job.zone, q->job.found, err);
    arena_reset(q->job.record);
}

static void read_records(struct query *q, xmlDocPtr doc)
{
    struct err *err = q->job.err;
    xmlXPathObjectPtr found =
        run(q, q->record, xmlDocGetRootElement(doc), q->job.p->record);
    int n = found && found->type == XPATH_NODESET
                ? xmlXPathNodeSetGetLength(found->nodesetval)
                : 0;

    if (found && (n == 0 || n > INSTRUMENTS_READINGS_MAX))
        err_fault(err, "", "\"%s\" finds %d records; 1 to %d are needed",
            q->job.p->record, n, INSTRUMENTS_READINGS_MAX);
    for (int i = 0; i < n && n <= INSTRUMENTS_READINGS_MAX &&
                    err->n_faults < ERR_FAULTS_MAX && !q->spent;
         i++)
        read_record(q, xmlXPathNodeSetItem(found->nodesetval, i));
    xmlXPathFreeObject(found);
}

enum rc profile_xml_decode(struct profile_job job, struct encoding_text text)
{
    xmlDocPtr doc;
    struct query *q;

    if (text.len > XML_MAX) {
        err_fault(
            job.err, "", "XML may have %d bytes, not %zu", XML_MAX, text.len);
        return job.err->rc;
    }
    doc = parse_xml(text, job.err);
    if (!doc)
        return job.err->rc;
    q = query_new(job, doc, text.len);
    read_records(q, doc);
    query_free(q);
    xmlFreeDoc(doc);
    return job.err->rc;
}
