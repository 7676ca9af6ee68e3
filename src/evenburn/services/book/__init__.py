"""What a person does with the book, one file for each verb; the web and the command line call these and nothing below.

`book` is what `open_book_at` returns. `now` is ISO 8601 in UTC, as "2026-06-09T08:00:00+00:00". Results are frozen; lengths in mm,
times in s, tones in L*. A `version` is the one the person saw; a later save of an older one raises ChangedMeanwhile. What
changes rows returns `Saved(edit_id, what, version)`, whose `edit_id` is for `undo_edit`. Errors: InvalidInput (all fields at
once, keys as in batch.toml, say `mark[1].tone_L`), NotFound, ChangedMeanwhile, UnreadableFile, StorageError.

    open_book.py     open_book_at(place=None) -> Book; default_place() -> Path
    saved.py         Saved(edit_id, what, version)
    take_in.py       take_in_batch(book, folder, *, now) -> TakenIn(batch_id, machine_id, piece_ids, wood_ids, notes, edit_id)
                     take_in_demo(book, *, now, progress=no_progress) -> TakenIn
    lay_out.py       lay_out_piece(book, piece_id, *, to) -> LaidOut(folder, inputs_sha256, slugs)
                     lay_out_batch(book, batch_id, *, to) -> LaidOut
    plan_piece.py    plan_piece(book, piece_id, *, now, progress=no_progress) -> PiecePlanned   (nothing to do where it is fresh)
                     plan_of(book, piece_id) -> PiecePlanned | None
                     PiecePlanned(piece_id, inputs_sha256, planned_at, fresh, folder, summary); .document() is plan.json as a dict
                     PlanSummary(time_s, stops, warns, notes, placing_stops, pieces, marks, set_ups, programs)
    today.py         today(book, *, now, batch_id=None, page=1) -> Today(batch_id, name, subtitle, rows, count, burnt, page, pages, total_time_s,
                         left_time_s, spoiled, day, now_at, opens_at, change_over_s, starts_at, ends_at, set_up_changes, least_set_up_changes,
                         stops, unplanned, batches, following_id)
                     TodayRow(piece_id, slug, name, wood_id, wood_name, size_text, size_mm, time_s, stops, warns, fresh, inputs_sha256, strip,
                         order, set_ups, focusings, refocus, burnt, burnt_today, spoiled_burn_id, blanks_left, lightens, glance, starts_at, ends_at, version)
                     StripStep(name, state, done_at, planned_at); state is "done", "open", "stop" or "spoiled"; STEPS names all eleven in order
    timetable.py     timetable(lines, *, opens, change_over_s, now, before) -> Timetable; finishing_times(ends, *, takes_s, ticks, opens) -> step: time
    bed_now.py       set_last(connection, *, machine_id, lens) -> thickness and stand-off as the last burn left them, or None
    spoiled.py       spoiled_in(connection, batch_id), spoiled_of(connection, ids) -> piece id: the burn that spoiled it
    at_a_glance.py   glances(book, piece_ids) -> piece_id: Glance(slugs, marks, checks); what a list tells of plans beside their times
    board_picture.py board_picture(book, piece_id) -> bytes                            (small PNG, kept beside the plan)
    begin.py         begin_with_demo(book, *, now, progress); plan_batch_pieces(book, batch_id, *, now, progress) -> int
    batches.py       list_batches(book) -> tuple[BatchKept, …]; new_batch(book, wish, *, now) -> Saved; machine_choices(book)
    index_of.py      list_pieces(book, *, search="", page=1) -> PieceList(lines, count, page, pages, in_book)
    take_out.py      run_sheet_of(book, batch_id) -> Path; programs_of(book, batch_id) -> Path   (NotFound until planned whole)
    piece_of.py      piece_of(book, piece_id) -> PieceSheet(piece_id, batch_id, batch_name, order, count, slug, name, wood_id, wood_name,
                     document, version, size_mm, strip, planned, ready, plan, forbidden, machine, lens_name, curve, finishing, artworks,
                     burns, blanks, edits, before_id, after_id)
                     artwork_of(book, name) -> ArtworkFile(name, media_type, data)
    forbidden.py     forbidden_in(connection, wood_id) -> Check | None, the stop of what must not be burnt; without_settings(plan, stop)
    mark_step.py     mark_step(book, piece_id, step, *, done, now, blank_id=None) -> Saved; step_of(book, piece_id, step) -> StepSheet
    reorder.py       move_piece(book, piece_id, *, before_id, now) -> Saved; shift_piece(book, piece_id, *, way, now) -> Saved
                     order_for_set_ups(book, batch_id, *, now) -> Saved
    new_piece.py     new_piece(book, batch_id, wish, *, now, wrong_already=None) -> Saved with .key the piece's id; batch_id None begins
                     wish.batch_name. NewPiece(name, wood_id, blank, outline_name, outline_data, blank_id, batch_name, mark);
                     NewMark(artwork_name, artwork_data, text, face, treatment, tone_L, margin_mm)
                     add_mark(book, piece_id, wish, *, version, now) -> Saved
                     replace_artwork(book, piece_id, mark_id, *, name, data, version, now) -> Saved
    edit_piece.py    change_piece(book, piece_id, changes, *, version, now) -> Saved   (changes: keys of batch.toml, {"mark[1].tone_L": 38.0})
                     apply_fix(book, piece_id, fix, *, version, now) -> Saved          (fix: one of plan.json's `fixes`, as a dict)
                     centre_marks(book, piece_id, *, version, now) -> Saved; copy_piece(book, piece_id, *, now) -> Saved
                     remove_piece(book, piece_id, *, version, now) -> Saved
                     add_artwork(book, data, *, name, now) -> str                      (the name it goes by in the book)
    piece_edits.py   changes_since(book, piece_id, *, version) -> what was done to a piece since, in words
    read_artwork.py  read_artwork(data, *, name, field="artwork") -> ReadArtwork       (InvalidInput where it cannot be burnt)
    reach_of.py      bed_of(book, piece_id, *, place_bed_mm=None, turn_deg=None, speed_mm_per_s=None) -> Bed   (reach, run-up, edge)
    recipes_of.py    recipes_of(plan, document) -> MarkRecipe, …   (amounts, what binds with its ways out, alternatives)
    programs_of.py   files_of(planned, plan); file_of(book, piece_id, name) -> FileData; set_up_of(plan) -> SetUpRow, …
    hand_out.py      NotHandedOut; fault_of_card(programs, made_for, machine) -> why they are not handed out, "" where they are
    finishing.py     afterwards(steps, *, ticks) -> Afterwards, …
    undo.py          undo_edit(book, edit_id, *, now) -> str; edit_line(book, edit_id) -> EditLine; last_edits(book, *, most=20) -> EditLine, …
    woods_of.py      list_woods(book, *, search="", page=1) -> WoodList; wood_of(book, wood_id, *, wished_L=None) -> WoodPage
                     shades_picture, evenness_picture(book, wood_id) -> bytes (JPEG)
    change_wood.py   new_wood(book, NewWood(called, begins, of, …), *, now, wrong_already=None) -> Saved; change_wood(book, wood_id, changes, *, version, now) -> Saved
                     remove_wood(book, wood_id, *, version, now) -> Saved; take_curve(book, wood_id, curve_id, *, version, now) -> Saved
    learn_wood.py    add_card(book, wood_id, BookCardWish(machine_id, …), *, now, progress) -> int
                     keep_photographs(book, card_id, sent, *, now) -> ids; read_card_in_book(book, card_id, ids, *, now, …) -> CardReadInBook
    fit_wood.py      curve_of_readings(book, wood_id, *, reading_ids=None, now, progress) -> int (a curve; `take_curve` lets the wood work with it)
    wood_cards.py    card_of(book, card_id) -> WoodCard; card_file, photograph_data, reading_picture
    wood_curves.py   curve_page(book, wood_id, curve_id) -> CurvePage, beside the one that the wood works with
    wood_curve.py    curve_drawing(wood, patches, *, frame, …) -> CurveDrawing, for an inline SVG
    proof_of.py      proof_of(book, piece_id, *, slug="", mark_id="") -> Proof | None; look_of(book, piece_id, *, plan="", slug="") -> ProofLook
                     told_setting(book, proof, ask) -> ToldSetting | None, what is predicted at another focus offset or line spacing
    proof_tiles.py   tile(book, piece_id, (level, column, row), *, plan="", ask=None) -> PNG; window_picture(book, piece_id, window, *, plan="", ask=None)
                     prepared(book, piece_id, *, plan="", slug="") -> (plan, Prepared); a few pieces stay in memory (proof_kept.py)
    customer_proof.py  customer_proof(book, piece_id, *, date, slug="", inch=False) -> CustomerProof; customer_sheet_pdf, customer_sheet_png
    logbook.py       search_log(book, *, text="", wood_id=None, grade="", page=1) -> LogPage(lines, count, burns, page, pages, woods); burn_of(book, burn_id)
                     grade_burn(book, burn_id, *, grade, note, version, now) -> Saved; log_csv(book, …) yields parts of a CSV
    look_at_burn.py  look_at_burn(book, burn_id, pictures, *, mat_card_id, also, version, now, progress) -> Looked(saved, compared, text); mats_of(book)
    do_again.py      do_it_again(book, burn_id, piece_id, mark_id, *, version, now) -> Saved; make_alike(book, burn_id, *, now); targets_of(book, burn_id)
    shelf.py         list_shelf(book, *, text="", wood_id=None, all_of_them=False, page=1) -> ShelfPage(lines, …); blank_of(book, blank_id) -> ShelfLine
                     put_on_shelf(book, item, *, now); change_shelf(book, blank_id, item, *, version, now); take_from_shelf(book, blank_id, *, version, now)
    machine_of.py    machine_of(book, machine_id=None) -> MachinePage | None; list_machines(book); machine_file(book, machine_id) -> text
    change_machine.py  change_machine(book, machine_id, changes, *, version, now) -> Saved; new_machine; new_machine_from_file; remove_machine
    machine_cards.py make_machine_card(book, machine_id, "motion" | "beam", *, wood_id, lens_name, page, now) -> card's number; machine_card_of; file_of_card
    learn_machine.py learn_stopwatch(book, card_id, told, *, now, progress); learn_ladder(book, card_id, photographs, *, now, progress)
                     differences(book, card_id) -> before and after; take_measured(book, card_id, *, version, now) -> Saved
    settings.py      settings_of(book) -> Settings(units, starts_at, theme, change_over_s, batch_id); change_settings(book, changes) -> Settings;
                     check_settings(book, changes) -> field: what is wrong
    back_up_book.py  back_up_book(book, target, *, now) -> Path; in_the_book(book) -> how much is in it
    restore_book.py  restore_book(source, place) -> Book; restore_beside(book, source, *, now) -> Path

The list above is what is planned; files that are not there yet are still to come, the first ones first.
"""
