// What gammas are called: the names that clips have, and that a plan can ask for.
#pragma once

#include <string>
#include <vector>

namespace everytake {

// In lower case, each once, by the alphabet: those of published curves, which can be shown as the scene looked, and
// those that cameras write into their files though their curve is not known here.
const std::vector<std::string>& gamma_names();

}  // namespace everytake
