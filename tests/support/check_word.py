"""The check word and the number of an order, from the words of
server/record/check_word.h alone: a second opinion for the tests."""

import uuid

SYMBOLS = "234579CFHJKMNPRTWXY"
PRIME = 43427
LENSES = ["power", "balance", "occluder", "prosthesis", "none"]
EYE = ["lens", "sphere", "cylinder", "axis", "add", "intermediate_add",
       "prism_in", "prism_up", "near_prism_in", "near_prism_up",
       "pd_far", "pd_near", "fitting_height"]
ZERO = {"prism_in", "prism_up", "near_prism_in", "near_prism_up"}


def symbols(value, n):
    text = ""
    for _ in range(n):
        text = SYMBOLS[value % 19] + text
        value //= 19
    return text


def check_word(right, left, vertex=None, pd_far=None, pd_near=None):
    """Figures as whole numbers (hundredths, degrees); what an eye lacks is
    absent, a prism that it lacks is 0, a lens that it lacks a power."""

    def count(figure):
        return 0 if figure is None else figure + 16384

    def eye(figures):
        return [count(figures.get(name, 0 if name in ZERO or name == "lens"
                                  else None)) for name in EYE]

    r, l = eye(right), eye(left)
    figures = r + l + [count(vertex), count(pd_far), count(pd_near)]
    h = sum(pow(101, i, PRIME) * f for i, f in enumerate(figures)) % PRIME
    t = 0 if r == l else 1 if r > l else 2
    return symbols(3 * h + t, 4)


def order_number(order_id):
    value = uuid.UUID(order_id).int
    day = (value >> 80) // 86400000 - 18262
    text = symbols(day % 19 ** 3, 3)
    text += symbols((value & 0xffffffff) % 19 ** 4, 4)
    total = sum((i + 1) * SYMBOLS.index(c) for i, c in enumerate(text))
    check = next(c for c in SYMBOLS
                 if (total + 8 * SYMBOLS.index(c)) % 19 == 0)
    return text[:4] + "-" + text[4:] + check


if __name__ == "__main__":
    print(check_word(
        {"sphere": -225, "cylinder": -75, "axis": 172, "add": 200,
         "prism_in": 50, "pd_far": 3150, "pd_near": 3000,
         "fitting_height": 2200},
        {"sphere": -175, "cylinder": 0, "add": 225, "prism_up": 100,
         "pd_far": 3200}, 1200, 6350))
    print(check_word({"lens": 4}, {"lens": 4}))
    print(order_number("019cadd3-7fc3-7000-8000-000000012345"))
