#include "gamma_names.h"

namespace everytake {

// Where a name stands in cameras' files, media/metadata/ says; which of them have a curve, media/gamma.cc.
const std::vector<std::string>& gamma_names() {
  static const std::vector<std::string> kNames{
      "apple-log",  "c-log",       "c-log2",      "c-log3",       "cinelike_d",   "cinelike_d2", "cinelike_v",
      "d-cinelike", "d-log",       "d-log-m",     "d-log2",       "ex-cine1",     "f-log",       "f-log2",
      "flat",       "hg3250g36",   "hg4600g30",   "hg8009g40",    "hlg",          "log-c3",      "log-c4",
      "n-log",      "natural",     "nxcam-cine1", "nxcam-cine2",  "nxcam-std",    "nxcam-still", "pq",
      "rec2020",    "rec2100-hlg", "rec709",      "rec709-800",   "rec709-xvycc", "s-cinetone",  "s-log",
      "s-log2",     "s-log3",      "s-log3-cine", "scene-linear", "sd-std-x35",   "smpte240m",   "v-log",
      "v-log-l",    "v-logl",
  };
  return kNames;
}

}  // namespace everytake
