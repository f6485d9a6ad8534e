// What is left in a destination to know it again: a mark in its folder, and in each shoot's folder whose it is.
// Paths and filesystems can't tell: another disk may be mounted at a path, and two catalogues may call a folder alike.
#pragma once

#include <optional>
#include <string>

#include "os/fs.h"

namespace everytake::pipeline {

inline constexpr const char* kMarkFile = ".everytake-destination";
inline constexpr const char* kOwnerFile = ".everytake-shoot";

// The id that the folder bears; nullopt where it bears none. `invalid` where the file is not one that make_mark()
// wrote, saying what to do.
Result<std::optional<std::string>> read_mark(const ReadFs& destination);
// Gives the folder an id by chance where it has none. Returns the one it bears now. Durable. `token` goes into the name
// of the unfinished file: one caller at a time may use it.
Result<std::string> make_mark(Fs& destination, const std::string& token);

// Whose a shoot's folder is: a catalogue's id, and the stamp of the copy of it that was left there last.
struct Owner {
  std::string catalogue, stamp;
  bool operator==(const Owner&) const = default;
};
// Of `home`, a folder below the destination's; nullopt where nobody has claimed it. `invalid` as above.
Result<std::optional<Owner>> read_owner(const ReadFs& destination, const Path& home);
// Makes `home` where it is missing and claims it: `exists` where somebody else has. Durable.
Result<void> claim_home(Fs& destination, const Path& home, const Owner& owner, const std::string& token);
// Takes the place of the owner's own note of before. Durable.
Result<void> renew_claim(Fs& destination, const Path& home, const Owner& owner);

}  // namespace everytake::pipeline
