// The list of digests beside a roll that general tools can check.
#pragma once

#include <stop_token>
#include <string>
#include <string_view>
#include <vector>

#include "offload/hash.h"
#include "os/fs.h"

namespace everytake::offload {

struct ManifestLine {
  Path path;  // relative to the roll's folder
  Digest digest;
};

// Lines for `xxhsum -c --strict`, sorted by the bytes of their paths; names holding LF or CR are left out.
std::string xxh128_manifest(std::vector<ManifestLine> lines);

// What xxh128_manifest() wrote, from a disk that may hold anything: `invalid` names the line that is none, or whose
// path would lead out of the roll.
Result<std::vector<ManifestLine>> parse_xxh128_manifest(std::string_view text);

// Whether a path from a note is relative and of names only: no "..", no ".", nothing empty, no NUL.
bool stays_inside(std::string_view path);

// Writes `<roll>.xxh128`, and `<roll>.sha256` where a name needs it, into `folder` of `fs`. Replaces those of before,
// durably: after a power cut the old or the new one is there, whole. `lines` are verified copies in `folder/<roll>`.
Result<void> write_manifests(Fs& fs, const Path& folder, const std::string& roll,
                             const std::vector<ManifestLine>& lines, std::stop_token stop);

}  // namespace everytake::offload
