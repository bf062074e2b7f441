#include "base/json_merge.h"

json_t *json_merge(const json_t *target, const json_t *patch)
{
    json_t *made, *part;
    const char *name;

    if (!json_is_object(patch))
        return json_deep_copy(patch);
    made = json_is_object(target) ? json_copy((json_t *)target) : json_object();
    json_object_foreach ((json_t *)patch, name, part) {
        if (json_is_null(part))
            json_object_del(made, name);
        else
            json_object_set_new(
                made, name, json_merge(json_object_get(made, name), part));
    }
    return made;
}
