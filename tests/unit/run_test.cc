#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/filesystem/operations.hpp>

#include "cli/answer.h"
#include "cli/shoot.h"
#include "support/call.h"
#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake::cli {
namespace {

using test::call;
using test::get_file;
using test::put_file;
using test::TempDir;
using testing::HasSubstr;
using testing::StartsWith;

TEST(Run, ExplainsAWrongCommandLineOnErrAndExits2) {
  const TempDir dir;
  for (const std::vector<std::string>& wrong : std::vector<std::vector<std::string>>{
           {}, {"nothing"}, {"init"}, {"init", "a", "b"}, {"init", "a", "--wat"}, {"--shoot"}, {"--json"}}) {
    const auto called = call(wrong, dir.path());
    EXPECT_EQ(called.exit, 2) << testing::PrintToString(wrong);
    EXPECT_EQ(called.out, "");
    EXPECT_THAT(called.err, StartsWith("everytake: "));
    EXPECT_THAT(called.err, HasSubstr("--help"));
  }
}

TEST(Run, NamesTheCommandThatWasMeant) {
  const TempDir dir;
  EXPECT_THAT(call({"--shoot", "x", "int"}, dir.path()).err, HasSubstr("did you mean \"init\"?"));
}

TEST(Run, ShowsControlCharactersOfTheCommandLine) {
  const TempDir dir;
  EXPECT_EQ(call({"a\x1b[2J"}, dir.path()).err.find('\x1b'), std::string::npos);
  EXPECT_EQ(call({"init", "a", "b\x1b[2J"}, dir.path()).err.find('\x1b'), std::string::npos);
}

TEST(Run, PrintsHelpAndVersionAsData) {
  const TempDir dir;
  EXPECT_THAT(call({"--version"}, dir.path()).out, StartsWith("everytake "));
  for (const auto& command : kCommands) {
    EXPECT_THAT(call({"--help"}, dir.path()).out, HasSubstr(command.summary));
    const auto help = call({command.name, "--help"}, dir.path());
    EXPECT_EQ(help.exit, 0);
    EXPECT_THAT(help.out, HasSubstr(command.summary));
  }
}

TEST(Run, TakesGlobalOptionsBeforeAndAfterTheCommand) {
  const TempDir dir;
  EXPECT_THAT(call({"--json", "init", "a"}, dir.path()).out, StartsWith("{\"schema\":1,"));
  EXPECT_THAT(call({"init", "b", "--json"}, dir.path()).out, StartsWith("{\"schema\":1,"));
}

TEST(Run, TakesAWordThatIsACommandsNameAsAnArgument) {
  const TempDir dir;
  EXPECT_EQ(call({"init", "init"}, dir.path()).exit, 0);
  EXPECT_TRUE(boost::filesystem::exists(dir / "init/shoot.toml"));
}

TEST(Init, NeverReplacesAPlan) {
  const TempDir dir;
  put_file(dir / "shoot.toml", "mine");
  const auto called = call({"init", "."}, dir.path());
  EXPECT_EQ(called.exit, 3);
  EXPECT_EQ(called.out, "");
  EXPECT_EQ(get_file(dir / "shoot.toml"), "mine");
}

TEST(Init, TitlesThePlanByItsFolderWhateverThatIsCalled) {
  const TempDir dir;
  EXPECT_EQ(call({"init", "Saltmarsh \"Radio\"\\\n/"}, dir.path()).exit, 0);
  EXPECT_THAT(get_file(dir / "Saltmarsh \"Radio\"\\\n/shoot.toml"),
              HasSubstr("title = \"Saltmarsh \\\"Radio\\\"\\\\\\\\x0a\"\n"));
}

TEST(Init, SaysWhatIsInTheWay) {
  const TempDir dir;
  put_file(dir / "file", "");
  const auto called = call({"init", "file"}, dir.path());
  EXPECT_EQ(called.exit, 3);
  EXPECT_THAT(called.err, HasSubstr("file"));
}

Session session_in(const Path& folder, std::ostream& nowhere) {
  return {.out = nowhere,
          .err = nowhere,
          .out_screen = {},
          .err_screen = {},
          .folder = folder,
          .shoot_from_environment = std::nullopt,
          .shoot = std::nullopt};
}

TEST(FindShoot, GoesUpwardFromTheWorkingFolder) {
  const TempDir dir;
  std::ostringstream nowhere;
  put_file(dir / "shoot.toml", "");
  put_file(dir / "a/b/clip", "");
  EXPECT_EQ(find_shoot(session_in(dir / "a/b", nowhere)), dir.path());
}

TEST(FindShoot, TakesTheOptionBeforeTheEnvironmentAndThatBeforeTheFolder) {
  const TempDir dir;
  std::ostringstream nowhere;
  for (const char* folder : {"here", "option", "environment"}) put_file(dir / folder / "shoot.toml", "");
  auto session = session_in(dir / "here", nowhere);
  EXPECT_EQ(find_shoot(session), dir / "here");
  session.shoot_from_environment = "../environment/";
  EXPECT_EQ(find_shoot(session), dir / "environment");
  session.shoot = (dir / "option").string();
  EXPECT_EQ(find_shoot(session), dir / "option");
}

TEST(FindShoot, NeverTakesAnotherShootThanTheOneNamed) {
  const TempDir dir;
  std::ostringstream nowhere;
  put_file(dir / "shoot.toml", "");
  put_file(dir / "empty/file", "");
  auto session = session_in(dir.path(), nowhere);
  for (const char* name : {"empty", "absent", ""}) {
    session.shoot = name;
    const auto found = find_shoot(session);
    ASSERT_FALSE(found) << name;
    EXPECT_EQ(found.error().code, Code::not_found);
    EXPECT_THAT(found.error().what, HasSubstr("everytake init"));
  }
}

TEST(ExitOf, AnswersWithTheNumbersScriptsRelyOn) {
  EXPECT_EQ(static_cast<int>(exit_of(Code::invalid)), 3);
  EXPECT_EQ(static_cast<int>(exit_of(Code::corrupt)), 4);
  EXPECT_EQ(static_cast<int>(exit_of(Code::gone)), 5);
  EXPECT_EQ(static_cast<int>(exit_of(Code::no_space)), 6);
  EXPECT_EQ(static_cast<int>(exit_of(Code::cancelled)), 130);
}

}  // namespace
}  // namespace everytake::cli
