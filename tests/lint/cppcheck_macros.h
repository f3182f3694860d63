/* cppcheck_macros.h: what cppcheck must know of system headers that it does not read.  Included by lint only. */
#define cJSON_ArrayForEach(element, array) for (element = (array)->child; element; element = element->next)
