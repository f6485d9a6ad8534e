#include "pipeline/shoot_folders.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"
#include "os/posix_fs.h"
#include "os/small_file.h"
#include "pipeline/marks.h"
#include "pipeline/open_shoot.h"
#include "plan/plan.h"

namespace everytake::pipeline {
namespace {

constexpr int kMostHomes = 1000;
constexpr std::uint64_t kMostPlanBytes = 1 << 20;

enum class Whose {
  ours,
  free,     // nobody's: there is none, or nothing of a shoot is in it
  foreign,  // another catalogue's, of another shoot
  rival,    // another catalogue's, of this very shoot: both would call themselves its own
};

struct HomeSeen {
  Whose whose = Whose::free;
  bool claimed = false;  // by a note in it
};

bool is_of_a_shoot(const DirEntry& entry) {
  return entry.name == kCatalogueFile || (entry.name.starts_with('R') && entry.name.ends_with(".xxh128"));
}

// The title and performer of the plan that is kept in `home` are this one's.
bool keeps_this_plan(const ReadFs& fs, const Path& home, const Plan& plan) {
  const auto text = read_beginning(fs, home / kPlanFile, kMostPlanBytes);
  if (!text) return false;
  if (*text == plan.text) return true;
  const auto kept = plan::read_plan(*text, [](const Path&) { return Result<Micros>(Micros(1)); });
  return kept.fit_for_copies && kept.plan.title == plan.title && kept.plan.performer == plan.performer;
}

class TakingInHand {
 public:
  TakingInHand(catalogue::Catalogue& catalogue, const Plan& plan, MatchedDestination& matched,
               std::optional<std::string> stamp)
      : catalogue_(catalogue), plan_(plan), matched_(matched), fs_(*matched.open->fs), stamp_(std::move(stamp)) {}

  Result<TakenInHand> run() {
    id_ = TRY(catalogue_.id());
    token_ = TRY(token_of(catalogue_));
    TRY(find_old_homes());
    if (auto marked = take_mark(); !marked) return refused(marked.error());
    if (auto found = find_home(); !found) {
      if (catalogue_failed_) return tl::unexpected(std::move(found.error()));
      return refused(found.error());
    }
    if (taken_.refusal || !stamp_) return std::move(taken_);
    const auto& open = *matched_.open;
    if (!matched_.id.value) warn_of_system_disk();
    matched_.id = TRY(catalogue_.destination({{},
                                              open.planned.name,
                                              open.planned.path,
                                              open.volume.disks.names.empty() ? "" : disks_text(open.volume.disks),
                                              open.volume.uuid,
                                              matched_.mark,
                                              matched_.home}));
    matched_.is_vouched_for = true;
    return std::move(taken_);
  }

 private:
  TakenInHand refused(const Error& error) const {
    const auto code = error.code == Code::no_space  ? ProblemCode::no_room
                      : error.number == EROFS       ? ProblemCode::read_only
                      : error.code == Code::invalid ? ProblemCode::bad_mark
                                                    : ProblemCode::destination_lost;
    return {Problem{code, "", matched_.open->planned.name,
                    fmt::format("destination \"{}\": {}", shown(matched_.open->planned.name), error.what)},
            std::nullopt};
  }

  // An answer of the catalogue, whose failure is not the destination's.
  template <class T>
  Result<T> asked(Result<T> answer) {
    catalogue_failed_ = catalogue_failed_ || !answer;
    return answer;
  }

  // Before homes were claimed, a shoot's copies told where it lies.
  Result<void> find_old_homes() {
    if (!matched_.id.value) return {};
    old_homes_ = TRY(catalogue_.homes_at(matched_.id));
    return {};
  }

  Result<void> take_mark() {
    if (!stamp_ || !matched_.mark.empty()) return {};
    matched_.mark = TRY(make_mark(fs_, token_));
    return {};
  }

  Result<void> find_home() {
    if (!matched_.home.empty()) {
      const auto seen = TRY(look_at(matched_.home));
      if (seen.whose == Whose::ours || seen.whose == Whose::free) return take(matched_.home, seen);
      return refuse(matched_.home);
    }
    for (int n = 1; n <= kMostHomes; ++n) {
      const Path name = n == 1 ? plan_.slug() : fmt::format("{}-{}", plan_.slug(), n);
      const auto seen = TRY(look_at(name));
      if (seen.whose == Whose::rival) return refuse(name);
      if (seen.whose == Whose::foreign) continue;
      if (n > 1)
        taken_.remark = fmt::format("\"{}\": {} there belongs to another shoot: this one's copies go to {}",
                                    shown(matched_.open->planned.name), shown(plan_.slug()), shown(name.string()));
      return take(name, seen);
    }
    return fail(Code::exists, "there are too many shoots of this name");
  }

  Result<void> take(const Path& home, const HomeSeen& seen) {
    if (stamp_) {
      // Known before it is left anywhere: this catalogue must know its own again, whatever comes between.
      TRY(asked(catalogue_.add_stamp(*stamp_, Instant{})));
      const auto claimed = seen.claimed ? renew(home) : claim(home);
      if (!claimed && claimed.error().code == Code::exists) return find_home();  // somebody was quicker
      TRY(claimed);
    }
    matched_.home = home;
    return {};
  }

  Result<void> claim(const Path& home) {
    TRY(keep_the_old_catalogue(home));
    return claim_home(fs_, home, {id_, *stamp_}, token_);
  }

  // A disk that takes nothing more keeps the claim it has: nobody else can write there either.
  Result<void> renew(const Path& home) {
    const auto renewed = renew_claim(fs_, home, {id_, *stamp_});
    const bool takes_nothing =
        !renewed && (renewed.error().code == Code::no_space || renewed.error().code == Code::denied);
    return takes_nothing ? Result<void>() : renewed;
  }

  // A folder from before there were claims may hold another catalogue that shared it: it is kept beside this one's.
  Result<void> keep_the_old_catalogue(const Path& home) {
    if (!fs_.stat(home / kCatalogueFile)) return {};
    const Path aside = home / (std::string("before-") + kCatalogueFile);
    const auto kept = fs_.rename_new(home / kCatalogueFile, aside);
    if (!kept && kept.error().code != Code::exists) return kept;
    taken_.remark = fmt::format("\"{}\": the catalogue that was kept there is {} now",
                                shown(matched_.open->planned.name), shown(aside.string()));
    return {};
  }

  Result<void> refuse(const Path& home) {
    const auto& planned = matched_.open->planned;
    taken_.refusal = Problem{
        ProblemCode::foreign_shoot, "", planned.name,
        fmt::format(
            "\"{}\" holds this shoot as another catalogue knows it ({}), with what was said of its clips: "
            "nothing was written. The same shoot: bring that catalogue back with \"everytake --shoot NEW_FOLDER "
            "rebuild {}\" and go on there. A new shoot: give it a title of its own in the plan",
            shown(planned.name), shown(home.string()), shown((planned.path / home).string()))};
    return {};
  }

  Result<HomeSeen> look_at(const Path& home) {
    const auto stat = fs_.stat(home);
    if (!stat && stat.error().code == Code::not_found) return HomeSeen{};
    if (!stat) return tl::unexpected(stat.error());
    if (const auto owner = TRY(read_owner(fs_, home))) {
      const bool same = owner->catalogue == id_;
      if (same && TRY(asked(catalogue_.has_stamp(owner->stamp)))) return HomeSeen{Whose::ours, true};
      return HomeSeen{same || keeps_this_plan(fs_, home, plan_) ? Whose::rival : Whose::foreign, true};
    }
    if (std::ranges::find(old_homes_, home) != old_homes_.end()) return HomeSeen{Whose::ours, false};
    const auto entries = TRY(fs_.list(home));
    if (std::ranges::none_of(entries, is_of_a_shoot)) return HomeSeen{};
    return HomeSeen{keeps_this_plan(fs_, home, plan_) ? Whose::rival : Whose::foreign, false};
  }

  // At the first use: a mount point whose disk is not there looks just like a folder.
  void warn_of_system_disk() {
    const auto root = PosixFs::open_at("/");
    const auto system = root ? (*root)->volume() : tl::unexpected(root.error());
    const auto& disks = matched_.open->volume.disks;
    if (!system || !disks.known || disks.names.empty() || disks != system->disks) return;
    taken_.remark = fmt::format(
        "{}{}note: \"{}\" is on this computer's own disk ({}), which is fine where it is meant; if a disk of its own "
        "should be at {}, it is not mounted",
        taken_.remark.value_or(""), taken_.remark ? "; " : "", shown(matched_.open->planned.name), disks_text(disks),
        shown(matched_.open->planned.path.string()));
  }

  catalogue::Catalogue& catalogue_;
  const Plan& plan_;
  MatchedDestination& matched_;
  Fs& fs_;
  const std::optional<std::string> stamp_;
  std::string id_, token_;
  std::vector<Path> old_homes_;
  bool catalogue_failed_ = false;
  TakenInHand taken_;
};

}  // namespace

Result<std::string> token_of(const catalogue::Catalogue& catalogue) {
  return TRY(catalogue.id()).substr(0, 16);
}

Result<bool> is_own_home(const catalogue::Catalogue& catalogue, const MatchedDestination& matched) {
  if (!matched.is_here() || matched.home.empty()) return false;
  const auto owner = TRY(read_owner(*matched.open->fs, matched.home));
  if (!owner || owner->catalogue != TRY(catalogue.id())) return false;
  return catalogue.has_stamp(owner->stamp);
}

Result<TakenInHand> take_in_hand(catalogue::Catalogue& catalogue, const Plan& plan, MatchedDestination& matched,
                                 const std::optional<std::string>& stamp) {
  return TakingInHand(catalogue, plan, matched, stamp).run();
}

}  // namespace everytake::pipeline
