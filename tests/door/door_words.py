"""What people write over, around and below their weights, in eight languages."""

# Language: headings of unit and mass as they are written there, a title and a note from below the table.
HEADED = {
    "en": (("Unit", "Mass (g)"), ("No.", "Weight (g)"), ("Suppository no.", "Wt. [g]"), ("#", "Net weight, g")),
    "de": (("Nr.", "Masse (g)"), ("Zäpfchen", "Gewicht in g"), ("Lfd. Nr.", "Einzelmasse [g]")),
    "fr": (("N°", "Masse (g)"), ("Suppositoire", "Poids (g)"), ("Unité", "Poids en g")),
    "es": (("N.º", "Peso (g)"), ("Supositorio", "Masa (g)"), ("Unidad", "Peso en g")),
    "it": (("N.", "Peso (g)"), ("Supposta", "Massa (g)"), ("Unità", "Peso in g")),
    "pt": (("N.º", "Peso (g)"), ("Supositório", "Massa (g)"), ("Unidade", "Peso em g")),
    "nl": (("Nr.", "Gewicht (g)"), ("Zetpil", "Massa (g)"), ("Nummer", "Gewicht in g")),
    "pl": (("Lp.", "Masa (g)"), ("Czopek", "Masa [g]"), ("Nr", "Waga (g)")),
}
AROUND = {
    "en": ("Paracetamol 250 mg suppositories, batch 240117", "All units white, no air bubbles."),
    "de": ("Paracetamol-Zäpfchen 250 mg, Charge 240117", "Gewogen von: M. Huber"),
    "fr": ("Suppositoires de paracétamol 250 mg, lot 240117", "Pesé par : C. Martin"),
    "es": ("Supositorios de paracetamol 250 mg, lote 240117", "Pesado por: J. García"),
    "it": ("Supposte di paracetamolo 250 mg, lotto 240117", "Pesato da: L. Rossi"),
    "pt": ("Supositórios de paracetamol 250 mg, lote 240117", "Pesado por: A. Silva"),
    "nl": ("Paracetamol zetpillen 250 mg, charge 240117", "Gewogen door: P. de Vries"),
    "pl": ("Czopki z paracetamolem 250 mg, seria 240117", "Ważył: K. Nowak"),
}
# What people write before a number that is no unit. 84 and more labels in eight languages.
SUM_LABELS = {
    "en": (
        "Mean|Average|Avg.|Avg weight|Mean weight|Mean weight (g)|x̄|x-bar|X bar|SD|s|Std dev|"
        "Standard deviation|St. dev.|RSD|%RSD|CV|CV %|Min|Minimum|Max|Maximum|Range|Median|Sum|Total|"
        "Total weight|n|N =|Count|Target|Target weight|Nominal|Nominal weight|Theoretical weight|"
        "Check weight|Calibration weight|Reference weight|Tare|Lower limit|Upper limit|Limit +5%|-5 %|"
        "Mean + 5 %|Variance|Spec|Average of 20|Empty mould|Blank"
    ),
    "de": (
        "Mittel|Mittelwert|Mittelwert:|Durchschnitt|MW|Ø|Standardabweichung|Stabw.|Summe|Gesamt|Anzahl|Soll|"
        "Sollwert|Sollgewicht|Prüfgewicht|Tara|Nennmasse|Spannweite|Obergrenze|Untere Grenze"
    ),
    "fr": (
        "Moyenne|Masse moyenne|Écart type|Écart-type|Somme|Total|Nombre|Cible|Masse nominale|Masse théorique|"
        "Tare|Poids étalon|Étendue"
    ),
    "es": ("Media|Promedio|Desviación estándar|Desv. est.|Suma|Objetivo|Peso nominal|Peso medio|Tara|Máximo|Mínimo"),
    "it": "Media|Deviazione standard|Somma|Totale|Peso nominale|Peso medio|Obiettivo|Tara|Massimo",
    "pt": "Média|Desvio padrão|Soma|Peso médio|Peso teórico|Alvo|Tara|Máximo",
    "nl": "Gemiddelde|Gem.|Standaardafwijking|Som|Totaal|Streefgewicht|Tarra|Aantal",
    "pl": "Średnia|Odchylenie standardowe|Suma|Wartość docelowa|Tara|Masa nominalna|Minimum|Maks.",
}
