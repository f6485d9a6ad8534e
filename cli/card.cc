#include "cli/card.h"

#include "base/text.h"
#include "cli/shoot.h"
#include "os/posix_fs.h"
#include "pipeline/on_card.h"

namespace everytake::cli {

pipeline::Card OpenCard::as_card(const Path& shoot) const {
  const bool medium = pipeline::is_medium(*fs, volume, shoot);
  return {root, *fs, volume, medium, pipeline::beside(root, volume, medium)};
}

Result<OpenCard> open_card(const std::string& name, const Session& session) {
  const auto root = absolute_folder(name, session);
  auto fs = PosixFs::open_at(root);
  if (!fs) {
    const bool missing = fs.error().code == Code::not_found;
    return fail(
        missing ? Code::invalid : Code::gone,
        missing ? shown(root.string()) + ": there is no such folder; is the card mounted there?" : fs.error().what,
        fs.error().number);
  }
  auto volume = TRY((*fs)->volume());
  return OpenCard{root, std::move(*fs), std::move(volume)};
}

}  // namespace everytake::cli
