#include "card/scan.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "base/text.h"

namespace everytake::card {
namespace {

// What no folder can hold; a listing that has it comes from a broken or hostile driver.
bool is_no_name(const std::string& name) {
  return name.empty() || name == "." || name == ".." || name.find('/') != std::string::npos ||
         name.find('\0') != std::string::npos;
}

class Scanner {
 public:
  Scanner(const ReadFs& card, std::stop_token stop, const ScanLimits& limits)
      : card_(card), stop_(std::move(stop)), limits_(limits) {}

  Result<Listing> run() {
    const auto root = TRY(card_.stat({}));
    seen_.insert({root.device, root.inode});
    for (waiting_.push_back({}); !waiting_.empty();) {
      const Folder folder = std::move(waiting_.back());
      waiting_.pop_back();
      TRY(read_folder(folder));
    }
    std::ranges::sort(
        listing_.files, {}, [](const CardFile& file) -> auto& { return file.path.native(); });
    std::ranges::sort(
        listing_.folders, {}, [](const Path& folder) -> auto& { return folder.native(); });
    std::ranges::stable_sort(listing_.problems, {}, &Problem::path);
    return std::move(listing_);
  }

 private:
  struct Folder {
    Path path;
    int depth = 0;
  };

  Result<void> read_folder(const Folder& folder) {
    auto entries = card_.list(folder.path);
    if (!entries) {
      if (folder.path.empty() || entries.error().code == Code::gone) return tl::unexpected(entries.error());
      trouble(ProblemCode::unreadable, folder.path, entries.error().what);
      return {};
    }
    // A faulty driver lists a name twice: it is one file all the same.
    std::ranges::sort(*entries, {}, &DirEntry::name);
    const auto same = [](const DirEntry& a, const DirEntry& b) { return a.name == b.name; };
    entries->erase(std::unique(entries->begin(), entries->end(), same), entries->end());
    for (const auto& entry : *entries) TRY(take(folder, entry.name));
    return {};
  }

  Result<void> take(const Folder& folder, const std::string& name) {
    if (stop_.stop_requested()) return fail(Code::cancelled, "stopped while the card was listed");
    if (++entries_ > limits_.entries)
      return fail(Code::invalid,
                  fmt::format("there are over {} files and folders on it: this is no card", limits_.entries));
    if (is_no_name(name)) {
      trouble(ProblemCode::unreadable, folder.path,
              fmt::format("{}: lists the impossible name \"{}\"", shown(folder.path.native()), shown(name)));
      return {};
    }
    const auto path = folder.path / name;
    const auto stat = card_.stat(path);
    if (!stat) {
      if (stat.error().code == Code::gone) return tl::unexpected(stat.error());
      trouble(ProblemCode::unreadable, path, stat.error().what);
      return {};
    }
    if (stat->type == FileType::regular)
      listing_.files.push_back({path, stat->size, stat->mtime});
    else if (stat->type == FileType::directory)
      take_folder(folder, path, *stat);
    else
      note(path, stat->type);
    return {};
  }

  void take_folder(const Folder& parent, const Path& path, const FileStat& stat) {
    listing_.folders.push_back(path);
    const auto name = shown(path.native());
    if (parent.depth + 1 >= limits_.depth)
      return trouble(ProblemCode::too_deep, path,
                     fmt::format("{}: is nested deeper than {} folders and is not looked into", name, limits_.depth));
    if (!seen_.insert({stat.device, stat.inode}).second)
      return trouble(ProblemCode::loop, path, fmt::format("{}: leads back to a folder that was listed already", name));
    waiting_.push_back({path, parent.depth + 1});
  }

  void note(const Path& path, FileType type) {
    const char* what = type == FileType::symlink ? "a link" : "a device, socket or pipe";
    listing_.problems.push_back({ProblemCode::not_a_file, path.native(), "",
                                 fmt::format("{}: is {}, which is not copied", shown(path.native()), what)});
  }

  void trouble(ProblemCode code, const Path& path, std::string message) {
    listing_.complete = false;
    listing_.problems.push_back({code, path.native(), "", std::move(message)});
  }

  const ReadFs& card_;
  const std::stop_token stop_;
  const ScanLimits limits_;
  Listing listing_;
  std::vector<Folder> waiting_;
  std::set<std::pair<std::uint64_t, std::uint64_t>> seen_;  // device and inode of each folder
  std::size_t entries_ = 0;
};

}  // namespace

Result<Listing> scan(const ReadFs& card, std::stop_token stop, const ScanLimits& limits) {
  return Scanner(card, std::move(stop), limits).run();
}

}  // namespace everytake::card
