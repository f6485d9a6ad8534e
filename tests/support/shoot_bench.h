// A shoot in a folder, with real programs around it: a plan, a card, two destinations on a disk and in memory.
#pragma once

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "support/rooms.h"
#include "support/shell.h"
#include "support/temp_dir.h"

namespace everytake::test {

class ShootBench : public testing::Test {
 protected:
  ShootBench() {
    for (const auto& folder : {desk_, shuttle_.path(), card_}) shell("mkdir -p " + quoted(folder));
    put_file(shoot_ / "shoot.toml", plan());
  }

  // Two destinations that are no one disk: the second is in memory, and the plan accepts that.
  std::string plan() const {
    return "[shoot]\ntitle = \"Saltmarsh Radio\"\nperformer = \"Tollhouse Four\"\nframe_rate = \"24000/1001\"\n"
           "gamma = \"s-log3\"\n"
           "[song]\nlength = \"2:08\"\ntempo = 96.0\nmeter = \"4/4\"\n"
           "[[member]]\nname = \"Ada\"\n[[member]]\nname = \"Jonas\"\n"
           "[[section]]\nname = \"Intro\"\nbars = 4\n[[section]]\nname = \"Verse 1\"\nbars = 8\n"
           "[[section]]\nname = \"Chorus 1\"\nbars = 8\nmembers = [\"Ada\"]\n"
           "[[destination]]\nname = \"desk\"\npath = \"" +
           desk_.string() + "\"\n" + "[[destination]]\nname = \"shuttle\"\npath = \"" + shuttle_.path().string() +
           "\"\naccept_cached = true\n" + "[want]\ntakes = 2\nb_roll = 1\nslow_mo = 1\nmember_seconds = 5\n";
  }

  Ran everytake(const std::string& arguments) const {
    return shell(program() + " --shoot " + quoted(shoot_) + " " + arguments);
  }
  static std::string program() { return quoted(Path(EVERYTAKE_BINARY_DIR) / "everytake"); }

  nlohmann::json json(const std::string& arguments, int exit = 0) const {
    const auto ran = everytake("--json " + arguments);
    EXPECT_EQ(ran.exit, exit) << ran.err;
    const auto parsed = nlohmann::json::parse(ran.out, nullptr, false);
    EXPECT_FALSE(parsed.is_discarded()) << ran.out;
    return parsed;
  }

  // A file of a card, of its own bytes.
  void put(const std::string& path, std::size_t size) const {
    std::string bytes(size, '\0');
    std::uint64_t state = std::hash<std::string>{}(path);
    for (auto& byte : bytes)
      byte = static_cast<char>((state = state * 6364136223846793005U + 1442695040888963407U) >> 56);
    put_file(card_ / path, bytes);
  }

  TempDir dir_;
  TempDir shuttle_{"/dev/shm"};
  Path shoot_ = dir_ / "shoot", desk_ = dir_ / "desk", card_ = dir_ / "card";
};

}  // namespace everytake::test
