// Keeps the layers: who may include whom (DEVELOPERS.md, "The map").
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>
#include <boost/filesystem/fstream.hpp>
#include <regex>
#include <set>
#include <string>

namespace {

namespace fs = boost::filesystem;

struct Include {
  std::string file;    // relative to the source tree: "daemon/plan/parse.cc"
  std::string target;  // as written: "base/result.h", "sqlite3.h"
};

std::vector<Include> all_includes() {
  const fs::path root = EVERYTAKE_SOURCE_DIR;
  const std::regex directive(R"(^\s*#\s*include\s*[<"]([^>"]+)[>"])");
  std::vector<Include> found;
  for (const char* top : {"daemon", "cli"}) {
    if (!fs::exists(root / top)) continue;
    for (const auto& entry : fs::recursive_directory_iterator(root / top)) {
      const auto extension = entry.path().extension();
      if (extension != ".cc" && extension != ".h") continue;
      fs::ifstream in(entry.path());
      std::smatch match;
      for (std::string line; std::getline(in, line);)
        if (std::regex_search(line, match, directive))
          found.push_back({fs::relative(entry.path(), root).string(), match[1]});
    }
  }
  return found;
}

// "plan" of "daemon/plan/parse.cc"; "" for files beside the stages and for the commands.
std::string stage_of_file(const std::string& file) {
  std::smatch match;
  return std::regex_search(file, match, std::regex("^daemon/([a-z_]+)/")) ? match[1].str() : "";
}

std::string stage_of_include(const std::string& target) {
  static const std::set<std::string> kStages{"base",  "plan",  "card",     "offload", "catalogue",
                                             "media", "align", "coverage", "handoff", "board"};
  const auto slash = target.find('/');
  const auto head = target.substr(0, slash);
  return slash != std::string::npos && kStages.count(head) ? head : "";
}

TEST(Layers, AStageIncludesOnlyBaseTheModelAndItself) {
  const auto includes = all_includes();
  ASSERT_GT(includes.size(), 20U);
  for (const auto& [file, target] : includes) {
    const auto from = stage_of_file(file);
    if (from.empty()) continue;
    const auto to = stage_of_include(target);
    EXPECT_TRUE(to.empty() || to == "base" || to == from) << file << " includes " << target;
    if (from == "base") {
      EXPECT_NE(target, "model.h") << file << ": base knows nothing of the product";
    }
    EXPECT_NE(target, "pipeline.h") << file;
    EXPECT_NE(target, "service.h") << file;
  }
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
      {R"(^boost/(beast|asio))", R"(^daemon/board/http)"},
      {R"(^toml\+\+/)", R"(^daemon/plan/)"},
      {R"(^pugixml\.hpp$)", R"(^daemon/media/metadata/sidecar\.cc$)"},
      {R"(^utf8proc\.h$)", R"(^daemon/base/text\.cc$)"},
      {R"(^seccomp\.h$)", R"(^daemon/os/confine\.cc$)"},
      {R"(^CLI/)", R"(^(cli/|daemon/main\.cc$))"},
  };
  for (const auto& [file, target] : all_includes())
    for (const auto& rule : rules)
      if (std::regex_search(target, std::regex(rule.header))) {
        EXPECT_TRUE(std::regex_search(file, std::regex(rule.allowed))) << file << " includes " << target;
      }
}

}  // namespace
