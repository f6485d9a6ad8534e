#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <algorithm>

#include "base/text.h"
#include "cli/commands.h"

namespace everytake::cli {
namespace {

constexpr const char* kAbout =
    "Keeps every take of a performance-video shoot safe, shows what is still missing, and finds the right clip for "
    "every bar.\n";
constexpr const char* kFooter =
    "The shoot is the folder given with --shoot, else the one in $EVERYTAKE_SHOOT, else the nearest folder upward\n"
    "that has a shoot.toml. Start one with: everytake init DIR";
constexpr const char* kCommandFooter = "--shoot DIR, --json and --quiet work with every command.";

struct Declared {
  const CLI::App* app;
  Run run;
};

void declare_globals(CLI::App& app, Session& session) {
  app.add_option("--shoot", session.shoot, "the shoot's folder")->type_name("DIR");
  app.add_flag("--json", session.json, "print one JSON object, for programs");
  app.add_flag("--quiet", session.quiet, "no remarks, no progress, no colour: only answers and errors");
  app.set_version_flag("--version", std::string("everytake ") + EVERYTAKE_VERSION, "print the version");
  app.set_help_flag("-h,--help", "print this help");
  app.footer(kFooter);
  app.require_subcommand(1);
  app.get_formatter()->label("SUBCOMMAND", "COMMAND");
  app.get_formatter()->label("REQUIRED", "(required)");
  app.get_formatter()->column_width(24);
}

std::vector<Declared> declare_commands(CLI::App& app) {
  std::vector<Declared> all;
  for (const auto& command : kCommands) {
    CLI::App* declared = app.add_subcommand(command.name, command.summary);
    declared->fallthrough()->group("Commands")->footer(kCommandFooter);
    all.push_back({declared, command.declare(*declared)});
    for (CLI::Option* option : declared->get_options([](const CLI::Option* o) { return o->get_positional(); }))
      option->type_name("");  // its name says what it is
  }
  return all;
}

// Where no command was recognised: the word that should have been one.
std::optional<std::string> unknown_command(const std::vector<std::string>& arguments) {
  for (std::size_t i = 0; i < arguments.size(); ++i) {
    if (arguments[i] == "--shoot")
      ++i;
    else if (!arguments[i].starts_with('-'))
      return arguments[i];
  }
  return std::nullopt;
}

std::string explain(const CLI::App& app, const CLI::ParseError& error, const std::vector<std::string>& arguments) {
  const auto chosen = app.get_subcommands();
  if (!chosen.empty()) return shown(error.what()) + "\nSee: everytake " + chosen.front()->get_name() + " --help";
  const auto word = unknown_command(arguments);
  if (!word) return "which command? See: everytake --help";
  std::vector<std::string> names;
  for (const auto& command : kCommands) names.emplace_back(command.name);
  const auto meant = nearest(*word, names);
  return "there is no command \"" + shown(*word) + "\"" +
         (meant ? "; did you mean \"" + *meant + "\"?" : "; see: everytake --help");
}

Screen calm(Screen screen) {
  return {.width = screen.width};
}

}  // namespace

pipeline::Exit run(std::vector<std::string> arguments, Session& session) {
  CLI::App app(kAbout, "everytake");
  declare_globals(app, session);
  const auto commands = declare_commands(app);
  try {
    std::vector<std::string> reversed(arguments.rbegin(), arguments.rend());
    app.parse(reversed);
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == 0) {  // --help and --version
      app.exit(error, session.out, session.err);
      return pipeline::Exit::done;
    }
    session.err << "everytake: " << explain(app, error, arguments) << '\n';
    return pipeline::Exit::usage;
  }
  if (session.quiet) {
    session.out_screen = calm(session.out_screen);
    session.err_screen = calm(session.err_screen);
  }
  const auto chosen = std::find_if(commands.begin(), commands.end(), [](const auto& c) { return c.app->parsed(); });
  return chosen->run(session);
}

}  // namespace everytake::cli
