// Which clips a command is to work on: by name, and by when they were recorded.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "catalogue/catalogue.h"
#include "model.h"

namespace CLI {
class App;
}

namespace everytake::cli {

// As typed.
struct ChoiceWords {
  std::vector<std::string> clips;
  std::optional<std::string> roll, since, until;
  std::optional<std::size_t> last;
  bool says_something() const { return !clips.empty() || roll || since || until || last; }
};
void declare_choice(CLI::App& command, ChoiceWords& words);  // `words` outlives the command

struct Chosen {
  std::vector<Clip> clips;
  std::size_t without_time = 0;  // left out because nothing tells when they were recorded; 0 where that is no matter
};
// What is to be said of those; empty where there are none.
std::string left_out_text(const Chosen& chosen);

// The clips that all of it agrees on, each once, by roll and path; all where nothing is said. A name is looked for in
// the roll where one is said. `last` counts from the one recorded last. Times are corrected by what is known of the
// cameras' clocks. `not_found` where a name is none, and where it comes to no clip.
Result<Chosen> chosen_clips(const ChoiceWords& words, const catalogue::Reader& catalogue, const Plan& plan);

}  // namespace everytake::cli
