#include "coverage/in_doubt.h"

#include <algorithm>

#include "base/text.h"

namespace everytake::coverage {
namespace {

struct PictureProblem {
  ProblemCode code;
  const char* words;
};
constexpr PictureProblem kPictureProblems[] = {
    {ProblemCode::truncated, "its end is missing"},
    {ProblemCode::incomplete, "its recording broke off"},
    {ProblemCode::black_picture, "it is black wherever it was looked at"},
    {ProblemCode::no_frames, "none of its frames can be decoded"},
    {ProblemCode::no_picture, "it has no picture"},
    {ProblemCode::empty, "there is nothing in it"},
    {ProblemCode::unreadable, "it can't be read"},
};

const PictureProblem* problem_called(ProblemCode code) {
  const auto* found = std::find_if(std::begin(kPictureProblems), std::end(kPictureProblems),
                                   [&](const PictureProblem& each) { return code == each.code; });
  return found == std::end(kPictureProblems) ? nullptr : found;
}

}  // namespace

std::vector<ProblemCode> picture_problems(const Clip& clip) {
  std::vector<ProblemCode> codes;
  for (const auto& problem : clip.facts.problems)
    if (problem_called(problem.code) && std::find(codes.begin(), codes.end(), problem.code) == codes.end())
      codes.push_back(problem.code);
  return codes;
}

std::string text_of(const ClipInDoubt& doubtful) {
  std::string text = doubtful.clip + ": " + to_string(doubtful.kind);
  if (!doubtful.sections.empty()) text += " in " + joined(doubtful.sections);
  if (!doubtful.members.empty()) text += (doubtful.sections.empty() ? " of " : ", of ") + joined(doubtful.members);
  for (const auto code : doubtful.codes)
    if (const auto* problem = problem_called(code)) text += std::string("; ") + problem->words;
  return text;
}

}  // namespace everytake::coverage
