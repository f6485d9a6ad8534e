// Measures. Usage: bench NAME …
#include <iostream>
#include <string>
#include <vector>

#include "bench/bench.h"

int main(int argc, char** argv) {
  const std::vector<std::string> words(argv + 1, argv + argc);
  const auto rest = std::span(words).subspan(words.empty() ? 0 : 1);
  if (!words.empty() && words.front() == "align") return everytake::bench::align(rest);
  if (!words.empty() && words.front() == "study") return everytake::bench::study(rest);
  if (!words.empty() && words.front() == "offload") return everytake::bench::offload(rest);
  if (!words.empty() && words.front() == "start") return everytake::bench::start(rest);
  std::cerr << "usage: bench align [--real] [--tuning | --kits N] [--keep DIR] [--ours] [--misses]\n"
               "       bench study [--keep DIR]\n"
               "       bench offload [--on FOLDER] [--mib N] [--rounds N]\n"
               "       bench start\n";
  return 2;
}
