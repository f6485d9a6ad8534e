// Keeps the layers: who may include whom (DEVELOPERS.md, "The map"). The rooms are the folders there are.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>
#include <boost/filesystem/fstream.hpp>
#include <map>
#include <regex>
#include <set>
#include <string>
#include <vector>

namespace {

namespace fs = boost::filesystem;

struct Line {
  std::string file;  // relative to the source tree: "daemon/plan/parse.cc"
  std::string text;
};

std::vector<Line> all_lines() {
  const fs::path root = EVERYTAKE_SOURCE_DIR;
  std::vector<Line> found;
  for (const char* top : {"daemon", "cli"})
    for (const auto& entry : fs::recursive_directory_iterator(root / top)) {
      const auto extension = entry.path().extension();
      if (extension != ".cc" && extension != ".h") continue;
      fs::ifstream in(entry.path());
      for (std::string line; std::getline(in, line);)
        found.push_back({fs::relative(entry.path(), root).string(), line});
    }
  return found;
}

struct Include {
  std::string file;
  std::string target;  // as written: "base/result.h", "sqlite3.h"
};

std::vector<Include> all_includes() {
  const std::regex directive(R"(^\s*#\s*include\s*[<"]([^>"]+)[>"])");
  std::vector<Include> found;
  std::smatch match;
  for (const auto& [file, text] : all_lines())
    if (std::regex_search(text, match, directive)) found.push_back({file, match[1]});
  return found;
}

std::set<std::string> rooms() {
  std::set<std::string> found;
  for (const auto& entry : fs::directory_iterator(fs::path(EVERYTAKE_SOURCE_DIR) / "daemon"))
    if (fs::is_directory(entry)) found.insert(entry.path().filename().string());
  return found;
}

// "plan" of "daemon/plan/parse.cc" and of "plan/parse.h"; "" for the model, the commands and foreign headers.
std::string room_of(std::string path, const std::set<std::string>& rooms) {
  if (path.starts_with("daemon/")) path = path.substr(7);
  const auto head = path.substr(0, path.find('/'));
  return rooms.count(head) ? head : "";
}

// What a room may include beside itself; a stage: base, os and the model.
std::set<std::string> allowed(const std::string& room, const std::set<std::string>& rooms) {
  static const std::map<std::string, std::set<std::string>> kOwnRules{
      {"base", {}}, {"os", {"base"}}, {"examiner", {"base", "os", "media"}}};
  if (const auto it = kOwnRules.find(room); it != kOwnRules.end()) return it->second;
  auto all = rooms;
  all.erase("service");
  if (room == "service") return all;
  all.erase("service");
  if (room == "pipeline") return all;
  return {"base", "os"};
}

TEST(Layers, AStageIncludesOnlyBaseOsTheModelAndItself) {
  const auto includes = all_includes();
  const auto known = rooms();
  ASSERT_GT(includes.size(), 500U);
  ASSERT_GT(known.size(), 10U);
  for (const auto& [file, target] : includes) {
    const auto from = room_of(file, known), to = room_of(target, known);
    if (from.empty()) continue;
    EXPECT_TRUE(to.empty() || to == from || allowed(from, known).count(to)) << file << " includes " << target;
    if (from == "base" || from == "os") {
      EXPECT_NE(target, "model.h") << file << ": it knows nothing of the product";
    }
    EXPECT_FALSE(target.starts_with("cli/")) << file << " includes " << target;
  }
}

// One name for one class, whatever its namespace: a reader meets both.
TEST(Layers, NoClassNameStandsTwice) {
  const std::regex declared(R"(^(?:class|struct|enum class)\s+(?:\[\[nodiscard\]\]\s+)?(\w+)[^;]*\{)");
  std::map<std::string, std::set<std::string>> files;
  std::smatch match;
  for (const auto& [file, text] : all_lines())
    if (file.ends_with(".h") && std::regex_search(text, match, declared)) files[match[1]].insert(file);
  ASSERT_GT(files.size(), 100U);
  for (const auto& [name, where] : files) EXPECT_EQ(where.size(), 1U) << name << " in " << *where.begin();
}

TEST(Layers, OnlyOneFileKnowsAForeignLibrary) {
  struct Rule {
    const char* header;   // pattern of the included name
    const char* allowed;  // pattern of the files that may
  };
  const Rule rules[] = {
      {R"(^sqlite3\.h$)", R"(^daemon/catalogue/db\.(h|cc)$)"},
      {R"(^lib(av|sw)[a-z]+/)", R"(^daemon/media/[a-z]+/av)"},
      {R"(^fftw3\.h$)", R"(^daemon/align/fft\.cc$)"},
      {R"(^(xxhash\.h$|nettle/))", R"(^daemon/offload/hash\.cc$)"},
      {R"(^boost/filesystem(\.hpp|/(?!path\.hpp)))", R"(^daemon/os/)"},
      {R"(^toml\+\+/)", R"(^daemon/plan/document\.cc$)"},
      {R"(^pugixml\.hpp$)", R"(^daemon/media/metadata/sidecar\.cc$)"},
      {R"(^utf8proc\.h$)", R"(^daemon/base/text\.cc$)"},
      {R"(^seccomp\.h$)", R"(^daemon/os/confine\.cc$)"},
      {R"(^CLI/)", R"(^(cli/|daemon/service/main\.cc$))"},
  };
  for (const auto& [file, target] : all_includes())
    for (const auto& rule : rules)
      if (std::regex_search(target, std::regex(rule.header))) {
        EXPECT_TRUE(std::regex_search(file, std::regex(rule.allowed))) << file << " includes " << target;
      }
}

}  // namespace
