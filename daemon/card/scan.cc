#include "card/scan.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/text.h"

namespace everytake {
namespace {

constexpr int kDeepest = 64;              // cameras nest four or five folders
constexpr std::size_t kMost = 2'000'000;  // files; more is no card but an attack on memory

struct Folder {
  Path path;
  int depth = 0;
};

class Scanner {
 public:
  Scanner(const ReadFs& card, std::stop_token stop) : card_(card), stop_(std::move(stop)) {}

  Result<Listing> run() {
    for (waiting_.push_back({}); !waiting_.empty();) {
      const Folder folder = std::move(waiting_.back());
      waiting_.pop_back();
      TRY(read_folder(folder));
    }
    std::sort(listing_.files.begin(), listing_.files.end(),
              [](const auto& a, const auto& b) { return a.path.native() < b.path.native(); });
    std::sort(listing_.folders.begin(), listing_.folders.end(),
              [](const auto& a, const auto& b) { return a.native() < b.native(); });
    return std::move(listing_);
  }

 private:
  Result<void> read_folder(const Folder& folder) {
    if (stop_.stop_requested()) return fail(Code::cancelled, "stopped while the card was listed");
    const auto entries = card_.list(folder.path);
    if (!entries) {
      if (folder.path.empty() || entries.error().code == Code::gone) return tl::unexpected(entries.error());
      unreadable(folder.path, entries.error().what);
      return {};
    }
    for (const auto& entry : *entries) TRY(take(folder, entry.name));
    return {};
  }

  Result<void> take(const Folder& folder, const std::string& name) {
    const auto path = folder.path / name;
    const auto stat = card_.stat(path);
    if (!stat) {
      if (stat.error().code == Code::gone) return tl::unexpected(stat.error());
      unreadable(path, stat.error().what);
    } else if (stat->type == FileType::regular) {
      if (listing_.files.size() >= kMost) return fail(Code::invalid, "there are over 2 million files: this is no card");
      listing_.files.push_back({path, stat->size, stat->mtime});
    } else if (stat->type == FileType::directory) {
      take_folder(folder, path, *stat);
    } else {
      const char* what = stat->type == FileType::symlink ? "a link" : "a device, socket or pipe";
      listing_.problems.push_back(
          {"not_a_file", path.string(), "", fmt::format("{} is {}: it is not copied", shown(path.string()), what)});
    }
    return {};
  }

  void take_folder(const Folder& parent, const Path& path, const FileStat& stat) {
    if (parent.depth >= kDeepest) {
      unreadable(path, fmt::format("{} is nested deeper than {} folders", shown(path.string()), kDeepest));
    } else if (!seen_.insert({stat.device, stat.inode}).second) {
      unreadable(path, fmt::format("{} leads back to a folder that was listed already", shown(path.string())));
    } else {
      listing_.folders.push_back(path);
      waiting_.push_back({path, parent.depth + 1});
    }
  }

  void unreadable(const Path& path, const std::string& message) {
    listing_.complete = false;
    listing_.problems.push_back({"unreadable", path.string(), "", message});
  }

  const ReadFs& card_;
  const std::stop_token stop_;
  Listing listing_;
  std::vector<Folder> waiting_;
  std::set<std::pair<std::uint64_t, std::uint64_t>> seen_;  // device and inode of each folder
};

}  // namespace

Result<Listing> scan(const ReadFs& card, std::stop_token stop) {
  return Scanner(card, std::move(stop)).run();
}

}  // namespace everytake
