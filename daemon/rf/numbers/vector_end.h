/* vector_end.h: takes back what vector.h defined (no include guard). */
#undef HOT
#undef IN
#undef N
#undef PASTE
#undef PASTE2
#undef KIND
#undef TARGET
