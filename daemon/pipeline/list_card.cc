#include "pipeline/list_card.h"

#include <algorithm>

#include "base/text.h"
#include "card/scan.h"

namespace everytake::pipeline {
namespace {

// An empty card, or one whose folders can't be read: that must not look the same.
Error nothing_listed(const Listing& listing, const std::string& root) {
  if (listing.complete) return {Code::invalid, root + ": there is no file on it", 0};
  const auto it = std::ranges::find(listing.problems, ProblemCode::unreadable, &Problem::code);
  return {Code::io, root + ": no file of it can be listed" + (it == listing.problems.end() ? "" : ": " + it->message),
          0};
}

}  // namespace

Result<Listing> list_card(const Card& card, std::stop_token stop) {
  const auto root = shown(card.root.string());
  auto listing = TRY(card::scan(card.fs, stop));
  if (listing.files.empty()) return tl::unexpected(nothing_listed(listing, root));
  const auto second = TRY(card::scan(card.fs, stop));
  if (second.files != listing.files)
    return fail(Code::busy, root +
                                ": two listings differ: something still writes to it, or the reader is faulty; "
                                "try again, then try another reader");
  return listing;
}

}  // namespace everytake::pipeline
