// The table of commands, and what each is given.
#pragma once

#include <functional>
#include <optional>
#include <ostream>
#include <string>
#include <vector>

#include "cli/terminal.h"
#include "os/fs.h"
#include "pipeline/exit_codes.h"

namespace CLI {
class App;
}

namespace everytake::cli {

// One call of the program: where it stands, what was asked for and where answers go. Data goes to `out`, everything
// else to `err`.
struct Session {
  std::ostream& out;
  std::ostream& err;
  Screen out_screen;  // calm under --quiet
  Screen err_screen;
  Path folder;                                        // the working folder, absolute
  std::optional<std::string> shoot_from_environment;  // $EVERYTAKE_SHOOT
  std::optional<std::string> shoot;                   // --shoot
  bool json = false;                                  // --json: `out` gets one JSON object and nothing else
  bool quiet = false;                                 // --quiet: no remarks, no progress
  // Asks a person and waits for a yes; empty where there is nobody to ask.
  std::function<bool(const std::string& question)> confirm{};
};

// What a command does once its options are parsed.
using Run = std::function<pipeline::Exit(Session&)>;

// Adds a command's options to `command` and returns what to run. In cli/<name>.cc.
using Declare = Run(CLI::App& command);
Declare declare_init;
Declare declare_plan;
Declare declare_offload;
Declare declare_safe;
Declare declare_coverage;
Declare declare_rolls;
Declare declare_verify;
Declare declare_status;
Declare declare_rebuild;
Declare declare_study;
Declare declare_tag;
Declare declare_setup;
Declare declare_clock;
Declare declare_find;
Declare declare_show;
Declare declare_sheet;

struct Command {
  const char* name;
  const char* summary;
  Declare* declare;
};

// In the order of a shoot's day, which is the order of --help.
inline constexpr Command kCommands[] = {
    {"init", "make a folder for a shoot, with a commented plan ready to edit", declare_init},
    {"plan", "check the plan; print its sections with times and bars", declare_plan},
    {"offload", "copy a card to every destination, verified byte for byte; goes on where it stopped", declare_offload},
    {"safe", "may this card be wiped? exit code 0 says yes", declare_safe},
    {"rolls", "every roll, where its copies are and in which state", declare_rolls},
    {"verify", "read copies back from their disks and compare; --repair makes bad ones anew", declare_verify},
    {"status", "disks with room and minutes left; what is copying, what is queued", declare_status},
    {"rebuild", "make a new catalogue from one destination alone", declare_rebuild},
    {"study", "analyse clips again: what they are, and where in the song", declare_study},
    {"setup", "say how things are from now on: who, in which light, from where", declare_setup},
    {"clock", "how far each camera's clock is off, and how that is known", declare_clock},
    {"tag", "say what a clip is: kind, members, section, look, place in the song", declare_tag},
    {"coverage", "what takes cover so far, and what to shoot next", declare_coverage},
    {"find", "clips by what they are and where they lie in the song", declare_find},
    {"show", "everything known of a clip; --picture writes its frames", declare_show},
    {"sheet", "a contact sheet of clips in one HTML file that prints", declare_sheet},
};

// Parses the arguments (without the program's name) and runs the command they name. Usage errors are explained on
// `err` and give Exit::usage.
pipeline::Exit run(std::vector<std::string> arguments, Session& session);

}  // namespace everytake::cli
