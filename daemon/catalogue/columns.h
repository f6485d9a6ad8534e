// How values stand in columns and rows, both ways.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "catalogue/db.h"
#include "catalogue/rows.h"

namespace everytake::catalogue {

const char* to_string(Evidence evidence);
const char* to_string(FileRole role);

// What a CHECK of the schema allows is all that can be read; anything else is the last alternative.
Evidence evidence_of(std::string_view text);
FileRole role_of(std::string_view text);
CopyState copy_state_of(std::string_view text);
By by_of(std::string_view text);
Placement::State placement_state_of(std::string_view text);
// The schema takes any text: a code that another version of this program wrote is read as `unknown`, and its row stays
// as it is.
ProblemCode problem_code_of(std::string_view text);

// JSON columns. What can't be read as such gives nothing.
std::string spans_text(const std::vector<Span>& spans);
std::vector<Span> spans_of(const std::string& text);
std::string candidates_text(const std::vector<Placement::Candidate>& candidates);
std::vector<Placement::Candidate> candidates_of(const std::string& text);
std::string origin_text(const std::map<std::string, std::string>& origin);
std::map<std::string, std::string> origin_of(const std::string& text);

// Within the caller's transaction.
Result<void> insert_problems(Db& db, std::optional<RollId> roll, std::optional<ClipId> clip,
                             std::span<const Problem> problems, Instant at);

}  // namespace everytake::catalogue
