# Turns SQL files into C: a statement begins at "-- name: word" and ends
# before the next.  Writes the header or, with -v part=source, the source.
function flush_statement(   i, most, rest, n) {
    if (name == "")
        return
    most = 0
    rest = body
    while (match(rest, /\$[0-9]+/)) {
        n = substr(rest, RSTART + 1, RLENGTH - 1) + 0
        if (n > most)
            most = n
        rest = substr(rest, RSTART + RLENGTH)
    }
    upper = toupper(name)
    if (part == "source") {
        gsub(/\\/, "\\\\", body)
        gsub(/"/, "\\\"", body)
        gsub(/\n/, "\\n\"\n    \"", body)
        printf "const struct db_stmt DB_%s = {\n    %d, %d, \"%s\",\n    \"%s\"};\n\n", upper, count, most, name, body
    } else {
        printf "extern const struct db_stmt DB_%s; /* %d parameters */\n", upper, most
    }
    count++
    name = ""
    body = ""
}
BEGIN {
    count = 0
    if (part == "source")
        print "#include \"db/sql.h\"\n"
    else
        print "#pragma once\n/* Made from the files of server/db/sql. */\n#include \"db/stmt.h\"\n"
}
/^-- name: / {
    flush_statement()
    name = $3
    next
}
/^[ \t]*--/ || /^[ \t]*$/ { next }
name != "" { body = body (body == "" ? "" : "\n") $0 }
END {
    flush_statement()
    if (part != "source")
        printf "\n#define DB_STATEMENTS %d\n", count
}
