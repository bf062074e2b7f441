# A text file as the C function print_order_style, line by line.
BEGIN {
    print "#include \"print/order_page.h\"\n"
    print "const char *print_order_style(void)\n{\n    return"
}
{
    gsub(/\\/, "\\\\")
    gsub(/"/, "\\\"")
    printf "        \"%s\\n\"\n", $0
}
END { print "        ;\n}" }
