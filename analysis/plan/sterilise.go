package plan

import "fmt"

// Sterilisation is one soak from bleach to test.
type Sterilisation struct {
	Bleach      BleachDose
	Thiosulfate ThiosulfateDose
	Advice      // of both, each sentence once
}

// Sterilise plans the soak and its end: the bleach, and the thiosulfate for
// all the chlorine dosed. Of the neutralisation given, the water is taken from
// the chlorination, and the chlorine too unless a test found some: then it is
// FreeChlorineMgPerL of the neutralisation.
func Sterilise(soak Chlorination, end Neutralisation) (Sterilisation, error) {
	bleach, err := Chlorinate(soak)
	if err != nil {
		return Sterilisation{}, fmt.Errorf("sterilise: %w", err)
	}
	found := end.FreeChlorineMgPerL
	end.WaterL, end.FreeChlorineMgPerL = soak.WaterL, or(found, soak.FreeChlorineMgPerL)
	neutralise := Neutralise
	if found > 0 {
		neutralise = NeutraliseFound
	}
	thio, err := neutralise(end)
	if err != nil {
		return Sterilisation{}, fmt.Errorf("sterilise: %w", err)
	}
	out := Sterilisation{Bleach: bleach, Thiosulfate: thio, Advice: Join(bleach.Advice, thio.Advice)}
	switch {
	case found > soak.FreeChlorineMgPerL*slack:
		out.warn(fmt.Sprintf("The test found %s mg/L where %s were dosed: the bleach is stronger than its label was read, or the test is wrong.",
			num(found), num(soak.FreeChlorineMgPerL)))
	case found == 0:
		out.misread(soak, thio)
	}
	return out, nil
}

// misread says where the thiosulfate would not do if the label means something else.
func (s *Sterilisation) misread(soak Chlorination, thio ThiosulfateDose) {
	worst := Reading{}
	for _, r := range s.Bleach.Readings {
		if r.MgPerL > worst.MgPerL {
			worst = r
		}
	}
	if enough := soak.FreeChlorineMgPerL * thio.Margin; thio.Chosen.Convention == ToSulfate && worst.MgPerL > enough*slack {
		s.warn(fmt.Sprintf("If the label means %s, this bleach makes %s mg/L, more than the thiosulfate is for (%s): the test has to show it.",
			worst.Basis, short(worst.MgPerL), short(enough)))
	}
}
