# Writes OUT: one C++ initialiser {name, text} a step, in order of its number.
set(text "")
foreach(step IN LISTS STEPS)
  get_filename_component(name ${step} NAME)
  file(READ ${step} sql)
  string(APPEND text "{\"${name}\", R\"sql(${sql})sql\"},\n")
endforeach()
file(WRITE ${OUT} "${text}")
