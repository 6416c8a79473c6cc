"""The codes that were agreed on, list by list: none may ever be missing from the word lists, retired or not."""

from __future__ import annotations

_AGREED = {
    "situation": """
        wire_hard_to_withdraw wire_stuck wire_knotted wire_jacket_sheared wire_unravelled wire_fractured_end_in_guide
        wire_fractured_in_coronary wire_fractured_reaching_aorta wire_fractured_end_in_access_artery
        wire_fractured_place_unknown wire_fragment_embolised
        stent_stuck_undeployed stent_partly_off_balloon stent_off_balloon_on_wire stent_off_wire_in_coronary
        stent_off_balloon_wire_not_known stent_in_guide_or_sheath stent_in_access_artery stent_embolised
        stent_moved_after_expansion stent_part_expanded stent_deformed covered_stent_not_delivered
        covered_stent_not_sealing
        balloon_stuck balloon_will_not_deflate balloon_ruptured balloon_shaft_fractured
        balloon_shaft_fractured_end_in_guide balloon_shaft_fractured_inflated balloon_fragment_in_coronary
        burr_stuck burr_stalled crown_stuck drive_shaft_fractured burr_detached laser_catheter_stuck
        microcatheter_stuck microcatheter_tip_fractured imaging_catheter_stuck imaging_catheter_fractured
        aspiration_catheter_stuck guide_extension_stuck guide_extension_fractured catheter_stuck catheter_kinked
        catheter_knotted catheter_fractured
        snare_stuck snare_fractured basket_stuck filter_stuck filter_will_not_recapture filter_detached
        device_stuck device_broken device_lost device_embolised device_in_access_artery closed
    """,
    "injury_kind": """
        perforation_main perforation_distal perforation_collateral perforation_place_unknown aortic_perforation
        implanted_stent_pulled_out flow_blocked_by_device dissection aortocoronary_dissection abrupt_closure
        side_branch_loss no_reflow thrombus air_embolism tamponade access_artery_injury access_bleeding arrhythmia
        shock arrest
    """,
    "aim": "look prepare free retrieve secure treat_injury support leave hand_over",
    "result": "resolved done partly unchanged worse not_delivered stopped_for_safety unknown",
    "ending": """
        out_whole out_in_pieces part_out_rest_left part_out_rest_held held_behind_stent deployed_in_place
        crushed_in_place left_in_place lost_place_unknown out_at_surgery part_out_at_surgery used_on replaced
        sealed_in_place ground_away accepted_as_is died_before_end transferred_open
    """,
    "mechanism": """
        jailed_by_stent caught_on_strut calcium angulation tortuosity knuckle_or_loop over_rotation over_traction
        above_rated_pressure thick_contrast kinked_shaft cut_by_other_device wire_wrap undersized_guide
        pulled_into_guide under_expanded_stent small_distal_vessel thrombus_or_spasm damaged_when_prepared
        device_defect_suspected
    """,
    "phase": """
        preparation access guide_engagement wiring channel_crossing lesion_preparation atherectomy device_delivery
        stent_deployment post_dilatation imaging_physiology branch_rewiring device_withdrawal bailout closure
        after_procedure
    """,
    "decline_reason": """
        not_on_shelf not_compatible_size skill_not_in_room would_risk_vessel would_risk_stent would_lose_wire
        patient_unstable contrast_or_dose_limit fragment_harmless poor_target surgeon_unavailable patient_wishes
        earlier_step_worked unlikely_to_work patient_risk_too_high surgeon_declined kept_in_reserve time
    """,
    "lesion_content": """
        stent_this_case old_stent old_stent_layers bioresorbable_scaffold thrombus calcium_nodule dissection_present
        other_wire retained_fragment_old
    """,
    "segment": "1 2 3 4 5 6 7 8 9 9a 10 10a 11 12 12a 12b 13 14 14a 14b 15 16 16a 16b 16c",
    "place": """
        right_coronary left_anterior_descending circumflex in_graft septal conus rv_branch atrial_branch
        epicardial_collateral in_guide on_guide aortic_root ascending_aorta arch descending_aorta iliofemoral
        arm_artery cerebral renal_mesenteric left_ventricle pericardium mediastinum
    """,
    "in_hospital_event": """
        mi_periprocedural stent_thrombosis emergency_cabg vascular_surgery repeat_pci tamponade stroke tia
        systemic_embolism bleeding transfusion access_complication kidney_injury dialysis shock arrest arrhythmia
        infection longer_stay
    """,
    "follow_up_event": """
        mi_periprocedural stent_thrombosis emergency_cabg vascular_surgery repeat_pci tamponade stroke tia
        systemic_embolism bleeding transfusion access_complication kidney_injury dialysis shock arrest arrhythmia
        infection longer_stay fragment_moved fragment_gone late_surgery
    """,
    "account_role": "operator nurse_or_fellow presenter lab_director quality_officer administrator",
    "case_role": """
        first_operator second_operator called_to_help fellow scrub_nurse circulating_nurse radiographer physiologist
        anaesthetist surgeon maker_representative_present
    """,
    "conference_role": "chair presenter discussant scribe",
    "device_class": """
        guidewire microcatheter_single microcatheter_dual microcatheter_angled pressure_microcatheter
        balloon_semi_compliant balloon_non_compliant balloon_cutting balloon_scoring balloon_drug_coated
        balloon_lithotripsy balloon_very_high_pressure balloon_over_the_wire balloon_perfusion balloon_trapping
        stent_drug_eluting stent_bare stent_covered stent_self_expanding stent_bifurcation scaffold
        rotational_burr orbital_crown laser_catheter directional_cutter ivus_solid_state ivus_rotational oct_catheter
        guide_catheter diagnostic_catheter guide_extension sheath snare_single_loop snare_multi_loop basket forceps
        filter occlusion_balloon aspiration_catheter mechanical_thrombectomy coil pacing_wire support_pump
        closure_device
        stent_unspecified balloon_unspecified microcatheter_unspecified imaging_catheter_unspecified
        snare_unspecified
    """,
    "wire_class": """
        workhorse hydrophilic_coil polymer_jacketed tapered_tip high_tip_load extra_support externalisation
        atherectomy pressure
    """,
    "procedure_kind": "diagnostic physiology pci pci_occlusion structural_support staged_return none_found_later",
    "urgency": "planned urgent emergency during_resuscitation",
    "presentation": """
        stable_angina silent_ischaemia unstable_angina nstemi stemi shock arrest heart_failure planned_staged
    """,
    "dominance": "right left co_dominant",
    "access_site": """
        radial femoral radial_right radial_left distal_radial_right distal_radial_left ulnar brachial femoral_right
        femoral_left
    """,
    "guide_shape": """
        judkins_right judkins_left amplatz_right amplatz_left extra_support_left extra_support_right multipurpose
        graft_shape
    """,
    "procedure_result": "complete partial failed stopped",
    "support": "none planned bailout",
    "graft_type": """
        saphenous_vein internal_mammary_left internal_mammary_right radial_artery gastroepiploic
    """,
    "graft_site": "proximal_anastomosis body distal_anastomosis",
    "calcification": "none mild moderate severe",
    "tortuosity": "none moderate severe",
    "angulation": "under_45 45_to_90 over_90",
    "acc_aha_type": "A B1 B2 C",
    "stent_expansion": "good under not_imaged",
    "part_failed": """
        tip coil core jacket shaft balloon hub marker struts burr drive_shaft tube loop basket whole
    """,
    "fragment_material": "metal_coil metal_core polymer stent_metal balloon_polymer braid mixed",
    "how_measured": "against_labelled_length ruler_on_bench fluoroscopy intravascular_imaging ct estimate",
    "fragment_state": "out free held wedged tethered in_occluded_branch outside_heart",
    "imaging": "fluoroscopy intravascular ct echo x_ray",
    "fragment_finding": "unchanged moved gone not_seen",
    "device_kept": "kept sent_to_maker discarded",
    "harm_scale": "ahrq who_icps",
    "injury_scale": "ellis_perforation nhlbi_dissection barc",
    "event_scale": "udmi4 scai arc2",
    "grade_ahrq": "death severe moderate mild no_harm",
    "grade_who_icps": "none mild moderate severe death",
    "grade_ellis_perforation": "I II III III_CS V",
    "grade_nhlbi_dissection": "A B C D E F",
    "grade_barc": "0 1 2 3a 3b 3c 4 5a 5b",
    "discharge_status": "alive dead transferred",
    "destination": "home ward other_hospital rehabilitation hospice",
    "death_cause": "cardiac vascular non_cardiovascular",
    "surgery_did": """
        fragment_removed fragment_left bypass_grafts coronary_repair artery_repair bleeding_control
        pericardial_window
    """,
    "surgery_where": "here elsewhere",
    "began_where": "here earlier_procedure elsewhere",
    "ended_where": "here later_procedure elsewhere",
    "actions_known": "all some none",
    "recognised_when": "procedure bench_check before_discharge later",
    "record_status": "full short",
    "duty_kind": """
        tell_patient retained_object_review fragment_notice keep_device local_report report_maker report_regulator
    """,
    "duty_decided": "owed not_owed undecided met",
    "plan_reason": """
        new_stent retained_fragment acute_presentation earlier_stent_thrombosis anticoagulant_needed
        high_bleeding_risk surgery_planned
    """,
    "agent": "aspirin clopidogrel prasugrel ticagrelor cangrelor",
    "anticoagulant": "warfarin apixaban rivaroxaban edoxaban dabigatran",
    "follow_up_status": "seen phoned record_only awaited lost dead",
    "adherence": "taking_all taking_some stopped_advised stopped_not_advised",
    "sex": "female male",
    "risk_answer_criterion": """
        oral_anticoagulant chronic_bleeding_disorder liver_cirrhosis_portal_hypertension active_cancer_12_months
        intracranial_bleed_spontaneous intracranial_bleed_traumatic_12_months brain_avm stroke_moderate_severe_6_months
        stroke_ischaemic_other bleeding_admission_6_months bleeding_admission_7_to_12_months bleeding_recurrent
        surgery_planned_on_dapt surgery_or_trauma_30_days nsaid_or_steroid_long_term diabetes smoker hypertension
        heart_failure_or_low_ef earlier_mi earlier_pci mi_at_presentation paclitaxel_stent vein_graft_stent
    """,
    "risk_measure": """
        haemoglobin_g_dl platelets_10e9_l egfr_ml_min creatinine_umol_l white_cells_10e9_l ejection_fraction
        weight_kg smallest_stent_mm
    """,
}

_TECHNIQUES = {
    "look": """
        angiography magnified_fluoroscopy enhanced_stent_view intravascular_imaging tip_injection echo
        transoesophageal_echo image_review came_out_with_other ct_scan length_check observed_change
    """,
    "prepare": """
        call_help call_surgeon check_act second_access second_guide larger_sheath second_wire cut_shaft
        disengage_guide anchor_balloon
    """,
    "free": """
        steady_traction push_and_turn forward_and_back push_onward counter_rotate vasodilator microcatheter_to_trap
        balloon_beside balloon_beside_through_wall balloon_through_cell redilate_at_trap guide_extension_traction
        wire_into_catheter_lumen atherectomy_beside lithotripsy_beside aspirate_large_syringe dilute_and_aspirate
        cut_hub_to_deflate puncture_balloon overinflate_to_burst burr_pull_controlled advance_filter_sheath
        untwist_catheter external_compression snare_single
    """,
    "retrieve": """
        trap_balloon_in_guide snare_single snare_multi snare_unspecified snare_from_beyond artery_cut_down
        sever_on_purpose atherectomy_on_fragment snare_over_wire wire_twist small_balloon_through_stent
        balloon_beyond_pull forceps basket guide_extension_capture aspiration_capture withdraw_as_one
    """,
    "secure": """
        stent_over_fragment crush_with_stent crush_with_balloon deploy_in_place balloon_press_to_wall redilate_stent
        second_stent second_covered_stent
    """,
    "treat_injury": """
        balloon_tamponade covered_stent coil fat microspheres stent_dissection stent_again drain_pericardium protamine
        aspirate_thrombus aspirate_air antithrombotic_drug external_compression
    """,
    "support": """
        fluids vasopressor transfusion pacing defibrillation cpr airway balloon_pump percutaneous_pump ecmo
    """,
    "leave": "decide_to_leave",
    "hand_over": "cardiac_surgery vascular_surgery transfer_out",
}

AGREED = {name: codes.split() for name, codes in _AGREED.items()}
"""The codes of each list, without `other` and `unknown`."""

TECHNIQUES = {aim: codes.split() for aim, codes in _TECHNIQUES.items()}
"""The techniques that may serve an aim, as agreed; some serve more."""
