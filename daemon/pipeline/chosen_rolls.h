// Some rolls taken in hand: nobody else works on their cards meanwhile.
#pragma once

#include <optional>
#include <set>
#include <span>
#include <string>
#include <vector>

#include "catalogue/catalogue.h"
#include "model.h"
#include "pipeline/card_lock.h"
#include "pipeline/pipeline.h"

namespace everytake::pipeline {

class ChosenRolls {
 public:
  enum class WhenBusy { fail, leave_out };
  // None named: all. Where another process, or another part of this one, works on a card of theirs: `busy`, or its
  // rolls are left out.
  static Result<ChosenRolls> take(catalogue::Catalogue& catalogue, std::span<const RollId> only, WhenBusy when_busy,
                                  const Clock& clock);

  const std::vector<catalogue::Roll>& rolls() const { return rolls_; }
  const std::vector<catalogue::FileRow>& files() const { return files_; }  // of all of them
  const std::vector<std::string>& left_out() const { return left_out_; }   // names of rolls
  const std::optional<Error>& busy() const { return busy_; }               // why the first of those was

 private:
  std::vector<catalogue::Roll> rolls_;
  std::vector<catalogue::FileRow> files_;
  std::vector<std::string> left_out_;
  std::optional<Error> busy_;
  std::vector<CardLock> locks_;
};

// A roll that was named is wanted now; of all of them those are meant that can be had.
inline ChosenRolls::WhenBusy when_busy(const CopyChoice& choice) {
  return choice.rolls.empty() ? ChosenRolls::WhenBusy::leave_out : ChosenRolls::WhenBusy::fail;
}

// The rolls of cards that other processes work on: what they lack is on its way.
Result<std::set<std::string>> rolls_in_other_hands(const catalogue::Catalogue& catalogue);

// Whether the plan names this destination: then every file should be there.
bool is_planned(const Plan& plan, const std::string& destination);

}  // namespace everytake::pipeline
